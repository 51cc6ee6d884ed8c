"""The level of every interval, and the quantile of the normal distribution that goes with it."""

LEVEL = 0.90  # of every interval
Z90 = 1.6448536269514722  # standard normal, 95 % point: half a 90 % interval in standard errors
