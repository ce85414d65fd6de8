"""Maximum conductor resistance at 20 °C of IEC 60228, in Ω/km, as quoted in public tables.

Keys are (class, material name); values map the nominal cross-section in mm² to ohms per kilometre. ``tinned copper`` is
the standard's metal-coated column. The standard itself was not opened; two or more public tables agree on nearly every
figure. The large aluminium sizes were read in two that give the standard's tables 1 and 2 whole, the large solid copper
ones as well. Class 5 of 0.5 mm² and 0.75 mm², and the coated column below 1 mm², rest on a single table.
"""

from __future__ import annotations

from typing import Final

_SIZES = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0)
_LARGE = (150.0, 185.0, 240.0, 300.0, 400.0, 500.0, 630.0)

_PLAIN = dict(
    zip(
        _SIZES,
        (36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727, 0.524, 0.387, 0.268, 0.193, 0.153),
        strict=True,
    )
)
_COATED = dict(
    zip(
        _SIZES,
        (36.7, 24.8, 18.2, 12.2, 7.56, 4.70, 3.11, 1.84, 1.16, 0.734, 0.529, 0.391, 0.270, 0.195, 0.154),
        strict=True,
    )
)
_FLEXIBLE = dict(
    zip(
        _SIZES,
        (39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386, 0.272, 0.206, 0.161),
        strict=True,
    )
)
_FLEXIBLE_COATED = dict(
    zip(
        _SIZES,
        (40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795, 0.565, 0.393, 0.277, 0.210, 0.164),
        strict=True,
    )
)
_ALUMINIUM = dict(
    zip(
        (10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0, 150.0, *_LARGE[1:], 800.0, 1000.0, 1200.0),
        (
            3.08,
            1.91,
            1.20,
            0.868,
            0.641,
            0.443,
            0.320,
            0.253,
            0.206,
            0.164,
            0.125,
            0.100,
            0.0778,
            0.0605,
            0.0469,
            0.0367,
            0.0291,
            0.0247,
        ),
        strict=True,
    )
)
# solid copper of these sizes is for mineral-insulated cable; its maximum differs a little from that of stranded wire
_SOLID = {150.0: 0.124, 185.0: 0.101, 240.0: 0.0775, 300.0: 0.0620, 400.0: 0.0465}


def _large(*ohm_per_km: float) -> dict[float, float]:
    return dict(zip(_LARGE, ohm_per_km, strict=True))


IEC_60228_OHM_PER_KM: Final[dict[tuple[int, str], dict[float, float]]] = {
    (1, "copper"): _PLAIN | _SOLID,
    # coated solid conductors are in the standard up to 16 mm² only
    (1, "tinned copper"): {size: ohms for size, ohms in _COATED.items() if size <= 16.0},
    (1, "aluminium"): _ALUMINIUM,
    (2, "copper"): _PLAIN | _large(0.124, 0.0991, 0.0754, 0.0601, 0.0470, 0.0366, 0.0283),
    (2, "tinned copper"): _COATED | _large(0.126, 0.100, 0.0762, 0.0607, 0.0475, 0.0369, 0.0286),
    (2, "aluminium"): _ALUMINIUM,
    (5, "copper"): _FLEXIBLE | _large(0.129, 0.106, 0.0801, 0.0641, 0.0486, 0.0384, 0.0287),
    (5, "tinned copper"): _FLEXIBLE_COATED | _large(0.132, 0.108, 0.0817, 0.0654, 0.0495, 0.0391, 0.0292),
}
