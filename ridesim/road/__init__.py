"""Where the ride goes: recorded and made roads, their air and the speed plan."""
