from blanketcase import compare


def test_a_quarter_less_clear_coat_than_the_worst_sections_sets_everywhere() -> None:
    """At no more minutes, the target met as often (200 cars and other spreads: the bench)."""
    found = compare(60, seed=8, p_target=0.9, minutes_per_um=10.0)
    assert found["cars"] >= 20
    assert found["cut_ratio"] <= 0.75
    assert found["minutes_ratio"] <= 1.0
    # "as often": the standard error of a share of sections over 30 cars is some 2 %, of cars some 4 %
    assert found["sections_met"] >= found["sections_met_blanket"] - 0.02
    assert found["cars_met"] >= found["cars_met_blanket"] - 0.04
