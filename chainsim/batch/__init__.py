"""Many renders: takes to files, orders, matrices."""
