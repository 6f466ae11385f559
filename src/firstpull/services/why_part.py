"""Why these numbers: the job, the part's sizes and its master."""

from __future__ import annotations

from firstpull.services.why_entry import Catalogue, Entry

SIZE = "parts.*.sizes."
MASTER = "parts.*.master."
SIDE = ("along x", "along y", "along z")


def _sizes() -> dict[str, Entry]:
    found = {}
    for axis, side in enumerate(SIDE):
        found[f"{SIZE}designed.{axis}"] = Entry(
            f"length {side} as designed",
            "greatest less least coordinate of the mesh file, in mm by its unit",
            unit="mm",
        )
        found[f"{SIZE}printed.{axis}"] = Entry(
            f"length {side} as printed",
            "length as designed x scale of the print",
            (f"{SIZE}designed.{axis}",),
            unit="mm",
            field="master.scale",
        )
        found[f"{SIZE}cast.{axis}"] = Entry(
            f"length {side} as cast",
            "length as printed x (1 - shrinkage of the silicone) x (1 - shrinkage of the resin)",
            (f"{SIZE}printed.{axis}",),
            ("silicone.shrinkage", "resin.shrinkage"),
            unit="mm",
        )
    return found


PART: Catalogue = {
    "job.good_castings": Entry(
        "good castings wanted", "as said in the job sheet", field="job.good_castings"
    ),
    "assumed.*.value": Entry(
        "taken where nobody said anything", "see the reason", of="assumed.*.field"
    ),
    "assumed.*.value.*": Entry(
        "taken where nobody said anything", "see the reason", of="assumed.*.field"
    ),
    **_sizes(),
    f"{MASTER}volume_cm3": Entry(
        "volume of the master",
        "sum over the triangles of the mended mesh of a . (b x c) / 6, corners a, b, c",
    ),
    f"{MASTER}area_cm2": Entry(
        "surface of the master, inside and outside",
        "sum of the areas of all triangles of the mended mesh",
    ),
    f"{MASTER}triangles": Entry("triangles of the master", "counted after mending"),
    f"{MASTER}findings.*.count": Entry(
        "how many of this kind the checker found",
        "counted in the mesh at the size it is printed, before mending",
        of=f"{MASTER}findings.*.kind",
    ),
    f"{MASTER}findings.*.size_mm": Entry(
        "how large the worst of this kind is",
        "measured at the first place of the finding",
        of=f"{MASTER}findings.*.kind",
    ),
    f"{MASTER}mended.~": Entry("what mending changed", "counted or measured while mending"),
}
