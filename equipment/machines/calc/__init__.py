"""Pure computations of machines: meters, use, services due, pre-start verdict, downtime, cost."""
