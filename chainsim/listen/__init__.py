"""What is looked at and listened to: drawings, pages, sheets."""
