"""What holds the drive: shafts, joints, screws, plates, and the loads of a ride on them."""
