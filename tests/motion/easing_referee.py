"""A slow, plain evaluation of cubic Bezier curves in 80 decimal digits, to referee the fast one."""

from decimal import Decimal, localcontext

DIGITS = 80
HALVINGS = 250


def coordinate(a, b, p):
    """The Bernstein form with control values 0, a, b, 1; a and b Decimals."""
    q = 1 - p
    return 3 * a * p * q * q + 3 * b * p * p * q + p * p * p


def bezier_value(x1, y1, x2, y2, t):
    """y at x = t by bisection in p."""
    with localcontext() as context:
        context.prec = DIGITS
        a, b = Decimal(x1), Decimal(x2)
        p = bisect(lambda p: coordinate(a, b, p) - Decimal(t), Decimal(0), Decimal(1))
        return coordinate(Decimal(y1), Decimal(y2), p)


def bisect(function, low, high):
    """The root of a function that rises, or falls, from `low` to `high`."""
    rising = function(high) >= function(low)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        if (function(middle) < 0) == rising:
            low = middle
        else:
            high = middle
    return (low + high) / 2
