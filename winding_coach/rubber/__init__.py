"""What a motor can take: the law of the rubber, the motor's geometry, the plan of a wind. Pure."""
