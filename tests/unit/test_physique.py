"""Skins of their own: each rise is as high as it says, where it says, on the side that has it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from rigkit import mesh, physique, places, puppets
from rigkit.physique import Bump, Physique

each_character = pytest.mark.parametrize("name", puppets.CAST)
PLAIN = Physique()


def halves(surface):
    """The vertices of the left and the right leg, the right one's with x outward."""
    x = surface.vertices[:, 0]
    return surface.vertices[x > 0], surface.vertices[x < 0] * [-1, 1, 1]


def moved(form, name="Tamsin", side=0):
    """How far a form moves each vertex of a half, and where it was [m]."""
    plain, own = (halves(physique.skin(name, 5000, form=each))[side] for each in (PLAIN, form))
    return own - plain, plain


def normals(surface):
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    return np.cross(b - a, c - a)


# --- what every skin keeps ---


@each_character
def test_each_skin_is_closed_and_meets_in_the_midplane(name):
    surface = physique.skin(name)
    assert mesh.open_edges(surface.triangles).tolist() == []
    plain = mesh.puppet_mesh(name)
    middle, as_before = (each.vertices[each.vertices[:, 0] == 0] for each in (surface, plain))
    assert_array_equal(middle, as_before)
    assert mesh.volume(surface.vertices, surface.triangles) > 0


@each_character
def test_no_part_of_a_skin_is_folded_over(name):
    form = physique.of_puppet(name)
    plain = physique.skin(name, form=Physique(more_rings=form.more_rings))
    before, after = normals(plain), normals(physique.skin(name))
    turned = np.sum(before * after, axis=-1) / np.prod(
        [np.linalg.norm(each, axis=-1) for each in (before, after)], axis=0
    )
    assert turned.min() > 0.5  # none is turned by 60°


@each_character
def test_the_sides_are_no_mirror_images_and_have_other_numbers(name):
    surface = physique.skin(name)
    with pytest.raises(ValueError, match="without a partner"):
        mesh.mirror_index(surface.vertices, 0.0002)
    left, right = halves(surface)
    assert (len(right) > len(left)) == (name != "Tamsin")
    found = places.mirrored_places(surface)
    assert 0.001 < found.distance.max() < 0.008
    edges = surface.vertices[surface.triangles]
    shortest = np.linalg.norm(edges - np.roll(edges, 1, axis=1), axis=-1).min()
    assert found.distance.max() > shortest / 2  # no vertex would be a sure partner


def test_all_skins_differ():
    widths = {}
    for name, puppet in puppets.CAST.items():
        surface = physique.skin(puppet, form=physique.of_puppet("Tamsin"))
        own = physique.skin(puppet)
        if name != "Tamsin":
            left, other = (halves(each)[0] for each in (surface, own))
            assert np.abs(left - other).max() > 0.001
        widths[name] = tuple(np.ptp(own.vertices, axis=0).round(4))
    assert len(set(widths.values())) == len(puppets.CAST) == 8


def test_a_skin_without_a_form_is_the_puppet_s_mesh_from_the_sole_up():
    plain, own = mesh.puppet_mesh("Pip", 900), physique.skin("Pip", 900, form=PLAIN)
    left = plain.vertices[:, 0] >= 0
    assert_array_equal(own.vertices[left], plain.vertices[left])
    assert_array_equal(own.vertices[~left][::-1], plain.vertices[~left])
    assert mesh.volume(own.vertices, own.triangles) == pytest.approx(
        float(mesh.volume(plain.vertices, plain.triangles))
    )


@settings(deadline=None, max_examples=20)
@given(st.integers(0, 2**31))
def test_a_personal_puppet_has_a_skin_of_its_own_every_time_the_same(seed):
    mine = puppets.personal(np.random.default_rng(seed))
    other = puppets.personal(np.random.default_rng(seed + 1))
    assert physique.of_puppet(mine) == physique.of_puppet(mine)
    assert physique.of_puppet(mine) != physique.of_puppet(other)
    first, again = (physique.skin(mine, 500) for _ in range(2))
    assert_array_equal(first.vertices, again.vertices)
    assert mesh.open_edges(first.triangles).tolist() == []


def test_a_puppet_changed_by_hand_is_not_the_one_of_its_name():
    longer = puppets.with_bones("Pip", 0.30, 0.25)
    assert physique.of_puppet(longer) != physique.of_puppet("Pip")


# --- each rise is what it says ---


def test_a_kneecap_stands_out_in_front_of_both_knees_and_nowhere_else():
    form = Physique(bumps=(Bump(1.0, 5.0, 40.0, 0.0, 50.0),))
    knee = mesh.puppet_chain("Tamsin")[1]
    for side in (0, 1):
        moves, place = moved(form, side=side)
        far = np.linalg.norm(moves, axis=-1)
        top = far.argmax()
        assert far.max() == pytest.approx(0.005, rel=0.05)  # a vertex need not stand in its middle
        assert np.abs(place[top] - knee)[:2] == pytest.approx([0, 0], abs=0.012)
        assert moves[top, 2] > 0.0045
        away = np.abs(place[:, 1] - knee[1]) > 0.041
        assert_array_equal(moves[away | (place[:, 2] < knee[2])], 0)


def test_a_calf_stands_out_behind_the_shank_and_leaves_the_foot_alone():
    """A bump's reach counts along the leg, whose last part, from ankle to sole, is short."""
    moves, place = moved(Physique(bumps=(Bump(1.3, 6.0, 110.0, 180.0, 110.0),)))
    knee, ankle = mesh.puppet_chain("Tamsin")[1:]
    middle = knee + 0.3 * (ankle - knee)
    assert np.linalg.norm(moves, axis=-1).max() == pytest.approx(0.006, rel=0.05)
    away = np.abs(place[:, 1] - middle[1]) > 0.111
    assert_array_equal(moves[away], 0)


@pytest.mark.parametrize(("side", "has"), [("L", (True, False)), ("R", (False, True))])
def test_a_strap_is_on_the_side_that_has_it(side, has):
    form = Physique(bumps=(Bump(1.5, 4.0, 50.0, side=side),))
    for each, there in enumerate(has):
        moves, _ = moved(form, side=each)
        assert (np.abs(moves).max() > 0.003) == there


def test_a_dent_goes_in():
    moves, _ = moved(Physique(bumps=(Bump(1.5, -4.0, 50.0, 90.0, 60.0),)))
    assert moves[:, 0].min() == pytest.approx(-0.004, rel=0.05)
    assert (moves[:, 0] <= 0).all()


@pytest.mark.parametrize(("bone", "mm"), [(0, 8.0), (1, -5.0)])
def test_a_girth_is_added_to_the_mean_radius_in_the_middle_of_the_bone(bone, mm):
    """Cut across there; the section's mean radius is measured, not the displacement."""
    girths = [0.0, 0.0]
    girths[bone] = mm
    chain = mesh.puppet_chain("Tamsin")
    at, radii = chain[bone : bone + 2].mean(axis=0), []
    for form in (PLAIN, Physique(girth_mm=girths)):
        surface = physique.skin("Tamsin", form=form)
        radii.append(mesh.section(surface.vertices, surface.side("L_"), at, (0, 1, 0)).radius)
    # beside the midplane a thigh's rise fades
    assert 1000 * (radii[1] - radii[0]) == pytest.approx(mm, rel=0.25 if bone == 0 else 0.05)


def test_the_right_leg_is_thicker_by_what_it_says():
    surface = physique.skin("Odo", form=Physique(right_thicker_mm=4.0))
    knee, radii = mesh.puppet_chain("Odo")[1], []
    for tag, way in (("L_", 1), ("R_", -1)):
        cut = mesh.section(surface.vertices, surface.side(tag), knee * [way, 1, 1], (0, 1, 0))
        radii.append(cut.radius)
    assert 1000 * (radii[1] - radii[0]) == pytest.approx(4, abs=0.3)


def test_the_right_toes_reach_farther_and_stay_on_the_floor():
    left, right = halves(physique.skin("Jory", form=Physique(right_longer_mm=6.0)))
    assert 1000 * (right[:, 2].max() - left[:, 2].max()) == pytest.approx(6)
    assert right[:, 1].min() == left[:, 1].min()
    assert right[:, 2].min() == pytest.approx(left[:, 2].min())  # the heels are alike


def test_the_seat_stands_out_behind_and_little_elsewhere():
    moves, place = moved(Physique(seat_mm=9.0), "Maren")
    assert moves[:, 2].min() == pytest.approx(-0.009, rel=0.1)
    assert_array_equal(moves[:, :2], 0)
    hip = mesh.puppet_chain("Maren")[0]
    assert_array_equal(moves[place[:, 2] > hip[2]], 0)
    assert_array_equal(moves[place[:, 1] < hip[1] - 1.4 * hip[0]], 0)


def test_joints_stay_in_the_middle_of_their_limbs():
    """Bumps of millimetres move the middle of a cut by less; the bench allows 1 cm."""
    for name, puppet in puppets.CAST.items():
        chain = mesh.puppet_chain(puppet)
        plain, own = physique.skin(puppet, form=PLAIN), physique.skin(puppet)
        for at in chain[1:-1]:
            middles = [
                mesh.section(each.vertices, each.side("L_"), at, (0, 1, 0)).middle
                for each in (plain, own)
            ]
            assert np.linalg.norm(middles[1] - middles[0]) < 0.003, name


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (lambda: Physique(girth_mm=(21.0,)), "`girth_mm` must be from −20 to 20 mm"),
        (lambda: Physique(seat_mm=float("nan")), "`seat_mm`"),
        (lambda: Physique(more_rings=-1), "`more_rings`"),
        (lambda: Physique(bumps=(3,)), "`bumps` must be of Bump; got 3"),
        (lambda: Bump(1.0, 30.0, 40.0), "`high_mm` must be from −20 to 20 mm"),
        (lambda: Bump(5.0, 3.0, 40.0), "`along` must be from 0"),
        (lambda: Bump(1.0, 3.0, 0.0), "`reach_mm`"),
        (lambda: Bump(1.0, 3.0, 40.0, side="both"), "`side` must be one of"),
        (lambda: Bump(1.0, 3.0, 40.0, 0.0, -5.0), "`wide_deg`"),
        (lambda: physique.skin("Pip", form="fat"), "`form` must be a Physique"),
        (lambda: physique.skin("Pip", form=Physique(girth_mm=(1, 1, 1))), "at most 2 girths"),
        (lambda: physique.of_puppet("Bo"), "`puppet`"),
    ],
)
def test_what_is_no_form_is_refused(wrong, sentence):
    with pytest.raises(ValueError, match=sentence):
        wrong()
