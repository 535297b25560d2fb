"""The figures that a shop has set for itself."""

from plates.measuring.uncertainty import Figures
from shop.people.models import Shop


def figures_of(shop: Shop) -> Figures:
    """As they stand today."""
    return Figures(
        reading_nm={
            "feeler": shop.u_feeler_nm,
            "indicator": shop.u_indicator_nm,
            "depth": shop.u_depth_nm,
            "air": shop.u_air_nm,
        },
        single_nm=shop.u_single_nm,
        wave_nm=shop.u_wave_nm,
        micrometer_nm=shop.u_micrometer_nm,
        stacked_nm=shop.u_stacked_nm,
        spread_nm=shop.spread_nm,
    )
