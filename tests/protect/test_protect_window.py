
import pytest
from hypothesis import given
from hypothesis import strategies as st
from leastcut.errors import InputError
from leastcut.protect import window
from leastcut.protect.records import Limits


@given(air=st.floats(0.0, 45.0), rh=st.floats(5.0, 100.0), more=st.floats(0.1, 20.0))
def test_more_humid_air_has_a_higher_dew_point(air: float, rh: float, more: float) -> None:
    wetter = min(100.0, rh + more)
    assert window.dew_point_c(air, wetter) >= window.dew_point_c(air, rh)
    assert window.dew_point_c(air, wetter) <= air + 1e-9


def test_impossible_weather_is_refused() -> None:
    with pytest.raises(InputError, match="140 %"):
        window.window(20.0, 140.0, 20.0)
    with pytest.raises(InputError, match="catch fire"):
        window.window(20.0, 50.0, 400.0)
    with pytest.raises(InputError, match="least air"):
        window.window(20.0, 50.0, 20.0, limits=Limits(air_c_min=30.0, air_c_max=20.0))
