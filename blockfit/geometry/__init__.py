"""Arrays, rotations, convex solids, triangle surfaces and small programs: mathematics that knows no stone."""
