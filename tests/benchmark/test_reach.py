import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.benchmark.reach import NOWHERE, Reach, between_nodes
from pipeline.edge.artefacts import read_artefact, write_artefact

LAUNCH, SPIN = 10 + 0.25 * np.arange(13), 2000 + 50.0 * np.arange(17)
NODES = (4, 5)
masks = arrays(bool, (13, 17), elements=st.booleans()).filter(lambda mask: mask.any())


def reach_of(*marks):
    return Reach.of(LAUNCH, SPIN, list(marks), [np.full(NODES, float(i)) for i in range(len(marks))])


@given(masks, masks)
def test_the_runs_hold_the_masks(first, second):
    reach = reach_of(first, second)
    rows = np.isin(LAUNCH, reach.launch_deg)
    columns = np.isin(SPIN, reach.spin_rpm)
    np.testing.assert_array_equal(reach.masks, np.stack([first, second])[:, rows][:, :, columns])
    # Nothing is cut off, and the grid begins and ends at nodes.
    assert reach.masks.sum() == first.sum() + second.sum()
    assert (len(reach.launch_deg) - 1) % 4 == (len(reach.spin_rpm) - 1) % 4 == 0


@given(masks, st.floats(9.5, 13.5), st.floats(1950, 2850), st.sampled_from([0.25, 0.1]))
def test_a_delivery_is_reachable_where_a_cells_four_corners_are(mask, launch, spin, snap):
    launch, spin = round(launch / snap) * snap, round(spin / 25) * 25.0
    held = False
    for row in range(12):
        for column in range(16):
            inside = LAUNCH[row] - 1e-9 <= launch <= LAUNCH[row + 1] + 1e-9
            inside &= SPIN[column] - 1e-9 <= spin <= SPIN[column + 1] + 1e-9
            held |= inside and mask[row : row + 2, column : column + 2].all()
    found = reach_of(mask).holds(np.array([0]), np.array([launch]), np.array([spin]))
    assert found.tolist() == [held]


def test_doubt_lies_on_straight_lines_between_its_nodes():
    nodes = np.arange(20.0).reshape(NODES)
    wide = between_nodes(nodes, (13, 17))
    np.testing.assert_allclose(wide[::4, ::4], nodes)
    np.testing.assert_allclose(wide[2, 0], nodes[0, 0] + (nodes[1, 0] - nodes[0, 0]) / 2)
    np.testing.assert_allclose(wide[0, 1], nodes[0, 0] + (nodes[0, 1] - nodes[0, 0]) / 4)
    # And stays with its deliveries when the grid is cut.
    mask = np.zeros((13, 17), dtype=bool)
    mask[5:8, 9:12] = True
    cut = Reach.of(LAUNCH, SPIN, [mask], [nodes])
    assert (cut.launch_deg[0], cut.spin_rpm[0]) == (11.0, 2400.0)
    np.testing.assert_allclose(cut.doubt_at(0), wide[4:9, 8:13])


def test_a_single_delivery_has_a_grid_but_no_cell():
    mask = np.zeros((13, 17), dtype=bool)
    mask[4, 4] = True
    reach = reach_of(mask)
    assert reach.masks.sum() == 1
    assert not reach.holds(np.array([0]), LAUNCH[[4]], SPIN[[4]]).any()


def test_nobody_reaches_anything():
    assert not NOWHERE.holds(np.array([0]), np.array([12.0]), np.array([2500.0])).any()
    assert Reach.of(LAUNCH, SPIN, [], []) is NOWHERE


def test_what_is_not_known_is_not_reachable():
    reach = reach_of(np.ones((13, 17), dtype=bool))
    found = reach.holds(np.zeros(3, dtype=int), np.array([np.nan, 12.0, 12.0]), np.array([2500.0, np.nan, 2500.0]))
    assert found.tolist() == [False, False, True]


def test_a_file_keeps_it(tmp_path):
    reach = reach_of(np.eye(13, 17, dtype=bool), np.ones((13, 17), dtype=bool))
    write_artefact(tmp_path / "reach.json", reach)
    again = read_artefact(tmp_path / "reach.json", Reach)
    for name, values in vars(reach).items():
        if name in ("launch_deg", "spin_rpm", "runs", "doubt_yd"):
            np.testing.assert_array_equal(getattr(again, name), values)
    np.testing.assert_array_equal(again.masks, reach.masks)


@pytest.mark.parametrize("size", [(1, 1), (5, 1)])
def test_nodes_of_any_number_are_spread(size):
    assert between_nodes(np.ones(size), (4 * size[0] - 3, 4 * size[1] - 3)).tolist() == [[1.0] * (4 * size[1] - 3)] * (
        4 * size[0] - 3
    )
