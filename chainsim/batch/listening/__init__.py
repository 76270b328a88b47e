"""What is to be heard on a listening page: versions, boards under a foot, and all of them in a row."""
