"""Distances between curves, and the nearest curves and engines."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from sklearn.metrics.pairwise import nan_euclidean_distances
from sklearn.neighbors import NearestNeighbors
from sklearn.preprocessing import StandardScaler

from curves.engine import Curve, Shelf, curve_distance, describe_curve, nearest_curves, nearest_engines
from curves.engine.codes import Code
from tests.engine.warned import codes

ONE = Curve([400, 900, 2000], [0, 6, 11])


class TestDistance:
    def test_distance_to_itself_is_nothing(self):
        assert curve_distance(ONE, ONE).rms_deg == 0

    def test_rms_agrees_with_scipy_quadrature(self):
        two = Curve([500, 800, 1500, 2400], [1, 3, 11, 12])
        found = curve_distance(ONE, two)
        breaks = [800, 900, 1500]
        square, _ = quad(lambda n: (ONE.at(n) - two.at(n)) ** 2, 500, 2000, points=breaks)
        mean, _ = quad(lambda n: ONE.at(n) - two.at(n), 500, 2000, points=breaks)
        assert (found.from_rpm, found.to_rpm) == (500, 2000)
        assert found.rms_deg == pytest.approx(np.sqrt(square / 1500))
        assert found.mean_deg == pytest.approx(mean / 1500)
        fine = np.linspace(500, 2000, 3001)
        assert found.worst_deg == pytest.approx(np.abs(ONE.at(fine) - two.at(fine)).max(), abs=1e-3)

    def test_initial_timing_is_the_mean(self):
        found = curve_distance((ONE.speed_rpm, ONE.advance_deg + 3), ONE)
        assert (found.rms_deg, found.mean_deg, found.worst_deg) == pytest.approx((3, 3, 3))

    def test_span_can_be_chosen_beyond_the_ends(self):
        found = curve_distance(ONE, ([400], [0]), from_rpm=2000, to_rpm=3000)
        assert found.rms_deg == pytest.approx(11)

    def test_single_shared_speed_is_compared_there(self):
        found = curve_distance(ONE, ([2000, 3000], [9, 9]))
        assert (found.rms_deg, found.mean_deg, found.worst_rpm) == (2, 2, 2000)

    def test_bad_input_is_named(self):
        with pytest.raises(ValueError, match="must share speeds, got none from 3000 to 2000"):
            curve_distance(ONE, ([3000, 4000], [9, 9]))
        with pytest.raises(ValueError, match="to_rpm must be from 0 to 20000, got -1"):
            curve_distance(ONE, ONE, to_rpm=-1)

    @settings(max_examples=50, deadline=None)
    @given(st.lists(st.lists(st.floats(-20, 40), min_size=5, max_size=5), min_size=3, max_size=3))
    def test_it_is_a_distance(self, rows):
        first, second, third = (Curve([400, 800, 1200, 1600, 2000], row) for row in rows)
        there = curve_distance(first, second)
        assert there.rms_deg == pytest.approx(curve_distance(second, first).rms_deg, abs=1e-9)
        around = curve_distance(first, third).rms_deg + curve_distance(third, second).rms_deg
        assert there.rms_deg <= around + 1e-9
        assert abs(there.mean_deg) <= there.rms_deg + 1e-9
        assert there.rms_deg <= there.worst_deg + 1e-9


class TestNearestCurves:
    def test_description_has_one_length_whatever_the_curve(self):
        short, long = (
            describe_curve(([900], [6])),
            describe_curve((np.arange(100, 3000, 10), np.arange(290) / 20)),
        )
        assert short.shape == long.shape == (29,)
        assert (short == 6).all()

    def test_nearest_agree_with_scikit_learn(self):
        rng = np.random.default_rng(9)
        rows = np.cumsum(rng.uniform(0, 1.2, (3000, 29)), axis=1)
        query = np.cumsum(rng.uniform(0, 1.2, 29))
        distance, index = NearestNeighbors(n_neighbors=10, algorithm="brute").fit(rows).kneighbors([query])
        found = Shelf(rows).nearest(query, 10)
        np.testing.assert_array_equal(found.index, index[0])
        np.testing.assert_allclose(found.distance, distance[0] / np.sqrt(29))

    def test_equal_rows_have_no_distance(self):
        rows = np.tile(describe_curve(ONE), (60, 1)) + np.arange(60)[:, None]
        found = nearest_curves(ONE, rows, 3)
        np.testing.assert_array_equal(found.index, [0, 1, 2])
        np.testing.assert_allclose(found.distance, [0, 1, 2], atol=1e-12)

    def test_no_more_are_returned_than_there_are(self):
        assert nearest_curves(ONE, Shelf([describe_curve(ONE)]), 10).index.size == 1

    def test_table_is_copied_and_kept(self):
        rows = np.zeros((3, 29))
        shelf = Shelf(rows)
        rows[0] = 99
        assert shelf.descriptions[0, 0] == 0
        with pytest.raises(ValueError, match="read-only"):
            shelf.descriptions[0, 0] = 1

    @pytest.mark.parametrize(
        ("rows", "count", "words"),
        [
            ([], 10, "descriptions must have at least 1 row"),
            ([[0.0], [1.0, 2.0]], 10, "descriptions must be a table of numbers"),
            ([[0.0] * 29, [np.nan] * 29], 10, "descriptions must be finite, -1e.09 to 1e.09, got nan"),
            ([[0.0] * 28], 10, "description must have 28 values"),
            ([[0.0] * 29], 0, "count must be at least 1, got 0"),
            ([[0.0] * 29], 1.5, "count must be a whole number"),
        ],
    )
    def test_bad_input_is_named(self, rows, count, words):
        with pytest.raises(ValueError, match=words):
            nearest_curves(ONE, rows, count)

    def test_bad_description_is_named(self):
        with pytest.raises(ValueError, match=r"description must be finite, -1e.09 to 1e.09, got nan"):
            Shelf([[0.0, 1.0]]).nearest([np.nan, 1.0])


class TestNearestEngines:
    # vega-datasets 0.9.0, cars: cylinders, displacement, horsepower, weight of the rows named below, and the
    # population standard deviations over the 400 rows that have all four.
    SPREAD = (1.714626417036665, 105.15223956691318, 38.7202878830982, 848.3776551601297)
    CARS = {
        "datsun pl510": (4, 97, 88, 2130),
        "toyota corolla 1600 (sw)": (4, 97, 88, 2100),
        "dodge colt m/m": (4, 98, 83, 2075),
        "renault 12tl": (4, 101, 83, 2202),
        "audi fox": (4, 98, 83, 2219),
        "ford maverick": (6, 200, 85, 2587),
        "amc gremlin": (6, 199, 90, 2648),
        "amc hornet": (6, 199, 97, 2774),
        "plymouth duster": (6, 198, 95, 2833),
    }

    @pytest.mark.parametrize(
        ("name", "wanted"),
        [  # distances by scikit-learn's NearestNeighbors on the whole data set
            (
                "datsun pl510",
                [
                    ("toyota corolla 1600 (sw)", 0.0354),
                    ("dodge colt m/m", 0.1448),
                    ("renault 12tl", 0.1591),
                    ("audi fox", 0.1666),
                ],
            ),
            ("ford maverick", [("amc gremlin", 0.1481), ("amc hornet", 0.3804), ("plymouth duster", 0.3888)]),
        ],
    )
    def test_published_neighbours(self, name, wanted):
        others = [other for other in self.CARS if other != name]
        found = nearest_engines(
            self.CARS[name], [self.CARS[other] for other in others], len(wanted), spread=self.SPREAD
        )
        assert [others[i] for i in found.index] == [other for other, _ in wanted]
        np.testing.assert_allclose(found.distance, [distance for _, distance in wanted], atol=5e-5)
        assert found.warnings == ()

    def test_whole_table_agrees_with_scikit_learn(self):
        rng = np.random.default_rng(12)
        rows = rng.normal([6, 2000, 9], [2, 900, 1], (400, 3))
        scaler = StandardScaler().fit(rows)
        nearest = NearestNeighbors(n_neighbors=10, algorithm="brute").fit(scaler.transform(rows))
        distance, index = nearest.kneighbors(scaler.transform([[4, 1600, 8.5]]))
        found = nearest_engines([4, 1600, 8.5], rows, 10)
        np.testing.assert_array_equal(found.index, index[0])
        np.testing.assert_allclose(found.distance, distance[0])

    def test_unknown_attributes_agree_with_scikit_learn(self):
        rng = np.random.default_rng(13)
        rows = rng.normal(0, 1, (50, 4))
        rows[rng.random((50, 4)) < 0.3] = np.nan
        query = np.array([0.1, np.nan, -0.2, 0.3])
        used = np.isfinite(query)
        found = nearest_engines(query, rows, 20, spread=np.ones(4))
        expected = nan_euclidean_distances(query[None, used], rows[:, used])[0]
        np.testing.assert_allclose(found.distance, np.sort(expected[np.isfinite(expected)])[:20])
        assert codes(found)[0] == Code.ATTRIBUTES_UNKNOWN

    def test_engine_of_which_nothing_is_known_is_left_out(self):
        found = nearest_engines([4, 1600], [[4, 1500], [np.nan, np.nan], [6, 2600]], 3)
        np.testing.assert_array_equal(found.index, [0, 2])

    def test_attribute_that_never_differs_is_left_out(self):
        found = nearest_engines([4, 1600], [[4, 1500], [4, 2500]], 2)
        assert found.distance == pytest.approx([0.2, 1.8])

    @pytest.mark.parametrize(
        ("query", "rows", "options", "words"),
        [
            ([4], [], {}, "table must have at least 1 row"),
            ([4], [[np.inf]], {}, "table must be finite, -1e.09 to 1e.09, or NaN for unknown, got inf"),
            ([4, 5], [[4]], {}, "attributes must have 1 values"),
            ([np.nan], [[4], [6]], {}, "attributes must hold one that is known"),
            ([4], [[4], [4]], {}, "attributes must hold one that is known and that differs"),
            (
                [np.inf],
                [[4], [6]],
                {},
                "attributes must be finite, .* or NaN for unknown",
            ),
            ([4], [[4], [6]], {"spread": [-1]}, "spread must be at least 0, got -1"),
        ],
    )
    def test_bad_input_is_named(self, query, rows, options, words):
        with pytest.raises(ValueError, match=words):
            nearest_engines(query, rows, **options)
