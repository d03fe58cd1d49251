"""The advance heads of the demo's invented units, as a maker would draw them."""

from dataclasses import dataclass
from math import radians

from curves.practice import simulated


@dataclass(frozen=True)
class HeadType:
    """What a maker stamps and draws: travel in distributor degrees, weights, and the two pairs of posts."""

    travel_deg: float
    weights: tuple  # kg, pivot radius mm, arm mm, angle deg, swing, growth of the swing
    primary_posts: tuple  # fixed radius mm, moving radius mm, angle deg
    secondary_posts: tuple
    friction_nmm: float = 1.0
    load_friction: float = 0.004

    def drawn_with(self, primary, secondary):
        """The head with the pair its maker chose for one engine, as a unit of the simulated bench."""
        mass, pivot_radius, arm, angle, swing, growth = self.weights
        return simulated.Unit(
            weights=simulated.Weights(mass, pivot_radius, arm, radians(angle), swing, growth),
            posts=tuple(
                simulated.Posts(fixed, moving, radians(angle))
                for fixed, moving, angle in (self.primary_posts, self.secondary_posts)
            ),
            travel_deg=self.travel_deg,
            friction=self.friction_nmm,
            load_friction=self.load_friction,
            received=(primary, secondary),
            wanted=(primary, secondary),
        )


HEADS = {
    "light four": HeadType(13.0, (0.015, 18.3, 12.0, 106, 1.72, 0.04), (25.2, 13.1, 68), (20.0, 15.0, 61)),
    "four": HeadType(12.0, (0.015, 20.5, 8.5, 119, 2.11, -0.02), (23.3, 14.0, 69), (24.0, 15.7, 62)),
    "six": HeadType(11.0, (0.019, 18.5, 8.3, 105, 1.78, -0.09), (22.9, 14.6, 74), (22.2, 16.5, 60)),
    "eight": HeadType(10.0, (0.016, 16.8, 8.5, 98, 2.32, -0.05), (24.2, 16.8, 63), (23.4, 16.9, 54)),
    "quick": HeadType(11.0, (0.024, 16.5, 8.5, 105, 2.06, 0.06), (22.0, 14.5, 66), (25.1, 16.8, 51)),
    "tractor": HeadType(9.0, (0.012, 16.8, 12.2, 102, 2.22, 0.09), (24.0, 15.4, 56), (25.1, 13.1, 58)),
    "marine": HeadType(10.0, (0.019, 18.7, 11.5, 130, 1.98, 0.04), (23.3, 14.9, 64), (22.5, 16.2, 56)),
    "slow": HeadType(7.0, (0.030, 23.0, 8.6, 96, 2.21, -0.05), (23.1, 13.5, 60), (20.1, 15.2, 53)),
}
