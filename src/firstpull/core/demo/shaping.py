"""What the demo shapes are made with: fillets, slopes, and limits to what may be asked."""

from __future__ import annotations

from numba import njit

from firstpull.core.errors import WorkshopError


class DemoOutOfRange(WorkshopError):
    """The demo mesh was asked for outside what its shape allows."""

    code = "demo_out_of_range"


def need_range(value: float, limits: tuple[float, float], *, where: str, unit: str) -> None:
    """Refuses an option outside its limits, which count as inside."""
    if not limits[0] <= value <= limits[1]:
        raise DemoOutOfRange(
            where=where,
            found=f"is {value:g}{unit}",
            limit=f"the demo takes {limits[0]:g} to {limits[1]:g}{unit}",
            remedy="Give a value in that range.",
        )


@njit(cache=True)
def rise(value, start, end):  # type: ignore[no-untyped-def]
    """From 0 at start to 1 at end, level at both."""
    t = min(max((value - start) / (end - start), 0.0), 1.0)
    return t * t * t * (t * (6.0 * t - 15.0) + 10.0)


@njit(cache=True)
def joined(a, b, blend):  # type: ignore[no-untyped-def]
    """Union with a fillet over ``blend`` mm."""
    h = max(blend - abs(a - b), 0.0) / blend
    return min(a, b) - h * h * h * blend / 6.0


@njit(cache=True)
def rounded_max(a, b, blend):  # type: ignore[no-untyped-def]
    """Section in common, its edge rounded over ``blend`` mm."""
    h = max(blend - abs(a - b), 0.0) / blend
    return max(a, b) + h * h * h * blend / 6.0
