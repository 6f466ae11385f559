"""Masks cut from heads, and open meshes of strangers: a proven mould, or a refusal by name."""

from __future__ import annotations

import pytest

import headmasks
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mending.mend import mend
from mould_cases import WholeMould, whole_mould
from registry_meshes import MESHES, OpenMesh, registry_mesh

pytestmark = pytest.mark.long

REFUSED = {
    "bear": "copied almost all around",  # a toy on its back: it needs a two-sided mould
    "bull": "copied almost all around",  # a statuette on four thin legs
}


def assert_proven(mould: WholeMould) -> None:
    for pieces in (1, 2):
        sentences = [check.sentence for check in mould.proof(pieces).failures]
        assert sentences == [], pieces
    assert mould.built[2].fill_cm3 <= mould.built[1].fill_cm3


@pytest.mark.parametrize("name", headmasks.HEADS)
def test_a_mask_of_a_head_is_proven_in_one_piece_and_in_two(name):
    mask = headmasks.head_mask(headmasks.head_path(name))
    mould = whole_mould(mask, step_mm=1.5)
    assert mould.up.found_by == "hollow"
    # the head looks along +z, and the mask's hollow lies behind the face
    assert mould.up.direction[2] > 0.98
    assert len(mould.standing.show.loops) == 3
    assert_proven(mould)


@pytest.mark.parametrize("chosen", [pytest.param(m, id=m.name) for m in MESHES])
def test_an_open_mesh_is_proven_or_refused_by_name(chosen: OpenMesh):
    mesh = mend(registry_mesh(chosen), wall_mm=3.0).mesh
    if chosen.name in REFUSED:
        with pytest.raises(WorkshopError, match=REFUSED[chosen.name]) as refusal:
            whole_mould(mesh, step_mm=1.5)
        assert "--up" in str(refusal.value)
        return
    assert_proven(whole_mould(mesh, step_mm=1.5))
