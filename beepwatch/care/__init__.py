"""Care routines: what a family's own clinic told it to do, and when. Rules are pure; nobody is told how to do it."""
