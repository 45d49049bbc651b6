"""What a class has done and misunderstood."""
