"""Where pictures place their bars, levels and lines."""

import pytest

from routeapp.kit import charts
from routeapp.kit.charts import Aim, Point, Value


@pytest.mark.parametrize(
    ("largest", "line"), [(0, 1), (1, 1), (3, 5), (5, 5), (11, 20), (21, 50), (99, 100), (101, 200)]
)
def test_line_above_the_bars_is_a_round_figure(largest, line):
    assert charts.ceiling(largest) == line


def test_tallest_bar_reaches_the_line_when_it_is_as_large():
    picture = charts.bars([Value(50, "fifty"), Value(25, "half"), Value(0, "nothing"), Value(-5, "less")], height=180)

    assert [bar.height for bar in picture.bars] == [124, 62, 0, 0]
    assert [bar.y for bar in picture.bars] == [26, 88, 150, 150]
    assert picture.ceiling == 50


def test_bars_stand_side_by_side_inside_the_picture():
    picture = charts.bars([Value(number, "") for number in range(65)])
    ends = [(bar.x, bar.x + bar.width) for bar in picture.bars]

    assert ends[0][0] >= 0
    assert ends[-1][1] <= 100
    assert all(left[1] <= right[0] for left, right in zip(ends, ends[1:], strict=False))


def test_mark_runs_below_the_marked_bars():
    picture = charts.bars([Value(1, ""), Value(1, "", marked=True), Value(1, "", marked=True), Value(1, "")])

    assert (picture.mark.x1, picture.mark.x2) == (picture.bars[1].x, picture.bars[2].x + picture.bars[2].width)
    assert charts.bars([Value(1, "")]).mark is None


def test_words_at_the_edges_are_pushed_inwards():
    picture = charts.bars([Value(1, "", label=text) for text in ("first", *"........", "last")])

    assert (picture.words[0].anchor, picture.words[-1].anchor) == ("start", "end")


def test_no_bars_at_all_is_an_empty_floor():
    assert charts.bars([]).bars == []
    assert charts.levels([]).rows == []


def test_levels_share_one_scale_with_their_targets():
    rows = charts.levels([Aim("A", "", 20, 40), Aim("B", "", 10, None)]).rows

    assert [(row.width, row.target) for row in rows] == [(49.5, 99), (24.75, None)]


def test_curve_runs_from_what_was_to_what_is_expected():
    picture = charts.curve([Point(0, 100), Point(10, 50)], [Point(10, 50), Point(20, 0)], 15, 100, "then", "later")

    assert [(line.x1, line.x2) for line in picture.seen + picture.expected] == [(0, 50), (50, 100)]
    assert (picture.now, picture.most, picture.expected[-1].y2) == (75, 26, picture.floor)
