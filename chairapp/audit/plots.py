"""The plots of the figures, as ECharts options: drawn in the browser from the program's own files, nothing fetched.

One ink, words at every axis, and shapes or patterns wherever a colour says something.
"""

import math
from collections.abc import Sequence
from typing import Any

from chairapp.audit.statistics import Agreement, Chart

__all__ = ["agreement_plot", "distance_plot", "shares_plot", "trend_plot"]

Options = dict[str, Any]

INK, SOFT, LINE, OFF = "#0b4a57", "#3d4b54", "#dcdfdc", "#7f1616"
SHADES = {"fits": "#0b4d2c", "accepted": "#0a4478", "unsettled": "#8a5a00", "skipped": "#8d979c"}
_TEXT = {"color": SOFT, "fontSize": 14, "hideOverlap": True}


def shares_plot(rows: Sequence[tuple[str, dict[str, float]]], words: dict[str, str]) -> Options:
    """Steps from the top down, each a bar of shares (0-1) by kind; `words` name the kinds."""
    series = [
        {
            "name": word,
            "type": "bar",
            "stack": "all",
            "data": [round(100 * shares.get(kind, 0), 1) for _, shares in rows],
            "itemStyle": {"color": SHADES[kind]},
        }
        for kind, word in words.items()
    ]
    across = {"type": "value", "max": 100, "axisLabel": _TEXT | {"formatter": "{value} %"}, "splitLine": _grid()}
    down = {"type": "category", "data": [name for name, _ in rows], "inverse": True, "axisLabel": _TEXT}
    return _plot(series, across, down, legend=True) | {
        "aria": {"enabled": True, "label": {"enabled": False}, "decal": {"show": True}}
    }


def trend_plot(months: Sequence[tuple[str, float | None]]) -> Options:
    """Share accepted by month, in percent; a month with too few is a gap."""
    values = [None if share is None else round(100 * share, 1) for _, share in months]
    series: list[Options] = [{"type": "line", "data": values, "symbolSize": 9, "color": INK}]
    across = {"type": "category", "data": [month for month, _ in months], "axisLabel": _TEXT}
    up = {"type": "value", "min": 0, "axisLabel": _TEXT | {"formatter": "{value} %"}, "splitLine": _grid()}
    return _plot(series, across, up)


def distance_plot(values: Sequence[tuple[str, float]], chart: Chart | None, band: Sequence[float | None]) -> Options:
    """Distances in order; those outside the chart's limits are large diamonds. The clinic's `band` is shaded."""
    outside = [chart is not None and not chart.low <= mm <= chart.high for _, mm in values]
    data = [
        {"value": mm, "symbol": "diamond", "symbolSize": 16, "itemStyle": {"color": OFF}} if out else {"value": mm}
        for (_, mm), out in zip(values, outside, strict=True)
    ]
    # Every point is drawn: by itself the plot leaves out some of many, those outside among them.
    line: Options = {
        "type": "line",
        "data": data,
        "symbolSize": 8,
        "showAllSymbol": True,
        "lineStyle": {"color": INK, "width": 1.5},
    }
    line["itemStyle"] = {"color": INK}
    if chart:
        line["markLine"] = _lines({"centre": chart.centre, "lower limit": chart.low, "upper limit": chart.high})
    if None not in band:
        area = [{"yAxis": band[0], "name": "band"}, {"yAxis": band[1]}]
        line["markArea"] = {"silent": True, "itemStyle": {"color": "rgba(11, 77, 44, 0.08)"}, "label": {"show": False}}
        line["markArea"]["data"] = [area]
    across = {"type": "category", "data": [when for when, _ in values], "axisLabel": _TEXT}
    up = {"type": "value", "scale": True, "name": "mm", "axisLabel": _TEXT, "splitLine": _grid()}
    if chart:
        up |= _seen([mm for _, mm in values], chart.low, chart.high)
    return _plot([line], across, up)


def agreement_plot(pairs: Sequence[tuple[float, float]], limits: Agreement, unit: str) -> Options:
    """Bland-Altman: the mean of the two readings across, second less first upwards."""
    data = [[round((a + b) / 2, 3), round(b - a, 3)] for a, b in pairs]
    points: Options = {"type": "scatter", "data": data, "symbolSize": 10, "itemStyle": {"color": INK, "opacity": 0.7}}
    points["markLine"] = _lines({"bias": limits.bias, "lower limit": limits.low, "upper limit": limits.high})
    across = {"type": "value", "scale": True, "name": f"mean, {unit}", "axisLabel": _TEXT, "splitLine": {"show": False}}
    up = {"type": "value", "scale": True, "name": f"second − first, {unit}", "axisLabel": _TEXT, "splitLine": _grid()}
    up |= {"nameTextStyle": {"align": "left"}} | _seen([apart for _, apart in data], limits.low, limits.high)
    across |= {"nameLocation": "middle", "nameGap": 30, "axisLine": {"onZero": False}}
    return _plot([points], across, up)


def _seen(values: Sequence[float], low: float, high: float) -> Options:
    """An axis far enough for the lines at `low` and `high` to be seen."""
    return {"min": math.floor(min(low, *values) - 0.25), "max": math.ceil(max(high, *values) + 0.25)}


def _lines(at: dict[str, float]) -> Options:
    label = {"formatter": "{b}", "position": "insideEndTop", "color": SOFT, "fontSize": 13}
    lines = [
        {"name": f"{name} {value:.2f}", "yAxis": value, "lineStyle": {"type": "solid" if at_middle else "dashed"}}
        for (name, value), at_middle in zip(at.items(), (True, False, False), strict=True)
    ]
    return {"symbol": "none", "silent": True, "label": label, "lineStyle": {"color": SOFT}, "data": lines}


def _grid() -> Options:
    return {"lineStyle": {"color": LINE}}


def _plot(series: list[Options], across: Options, up: Options, *, legend: bool = False) -> Options:
    # Without motion: a picture in a record stands still.
    base: Options = {"animation": False, "series": series, "xAxis": across, "yAxis": up, "textStyle": {"fontSize": 14}}
    base["grid"] = {"left": 12, "right": 24, "top": 48 if legend else 36, "bottom": 30, "containLabel": True}
    base["tooltip"] = {"trigger": "item"}
    if legend:
        base["legend"] = {"top": 0, "left": 0, "textStyle": _TEXT, "itemWidth": 22}
    return base
