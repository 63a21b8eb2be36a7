"""What a builder's own readings say of his bike: logs, rides with pedal power, coast-downs, cells."""
