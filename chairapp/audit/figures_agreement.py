"""Agreement: second readings of somebody who supervises against what stood when they were taken."""

from markupsafe import Markup

from chairapp.audit.asked import Asked
from chairapp.audit.figures import ChoiceAgreement, Figures, NumberAgreement
from chairapp.audit.page_parts import joined, plot, share, table, too_few
from chairapp.audit.plots import agreement_plot
from chairapp.audit.statistics import Agreement, Correlation
from chairapp.audit.told import Told, about, nothing, too_few_of
from chairapp.elements.frame import html
from chairapp.sequence.say import choice

__all__ = ["Agreements", "ask", "show"]

Agreements = tuple[list[NumberAgreement], list[ChoiceAgreement]]


def ask(figures: Figures, asked: Asked) -> Agreements:
    return figures.agreement(asked)


def show(found: Agreements, told: Told) -> None:
    about(
        "Where somebody who supervises read an item again: the second reading against what stood when it was taken. "
        "Bias is the mean of second less first; 95 of 100 differences lie between the limits. ICC is for absolute "
        "agreement, one rating (1 is perfect); kappa is agreement beyond chance."
    )
    numbers, choices = found
    if not (numbers or choices):
        nothing("Nothing was read a second time in this period.")
    for number in numbers:
        _number(number, told)
    for one in choices:
        _choice(one, told)


def _number(one: NumberAgreement, told: Told) -> None:
    unit = told.unit(one.item)
    html(Markup("<h2>{}</h2>").format(told.item(one.item)))
    if one.limits is None:
        html(too_few_of(len(one.pairs)))
    else:
        plot(agreement_plot(one.pairs, one.limits, unit), "Difference of the two readings against their mean", "20rem")
        html(_limits(one.limits, one.icc, unit))
    rows = [(f"{first:g}", f"{second:g}", f"{second - first:+.2f}") for first, second in one.pairs]
    pairs = table(("First", "Second", "Difference"), rows, figures=(0, 1, 2), caption="Pairs")
    html(Markup('<details class="tm-more"><summary>The {} pairs</summary>{}</details>').format(len(one.pairs), pairs))


def _limits(found: Agreement, icc: Correlation | None, unit: str) -> Markup:
    bias = f"{found.bias:+.2f} ({found.bias_low:+.2f} to {found.bias_high:+.2f})"
    row = (f"{found.n:,}", bias, f"{found.low:+.2f} to {found.high:+.2f}", _correlation(icc))
    heads = ("Pairs", f"Bias, {unit}", f"Limits of agreement, {unit}", "ICC")
    return table(heads, [row], figures=(0, 1, 2, 3), caption="Agreement")


def _correlation(icc: Correlation | None) -> str:
    return "–" if icc is None else f"{icc.value:.2f} ({icc.low:.2f} to {icc.high:.2f})"


def _choice(one: ChoiceAgreement, told: Told) -> None:
    words = [choice(told.sequence, "en", one.item, name) for name in one.choices]
    rows = [(word, *(f"{count:,}" for count in row)) for word, row in zip(words, one.table, strict=True)]
    heads = ("First, down; second, across", *words)
    counted = table(heads, rows, figures=range(1, len(heads)), caption="Answers")
    kappa = too_few() if one.share is None else "–" if one.kappa is None else f"{one.kappa:.2f}"
    facts = (("Pairs", f"{one.of:,}"), ("The same", share(one.share)), ("Kappa", kappa))
    said = joined(Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(*fact) for fact in facts)
    html(Markup('<h2>{}</h2>{}<dl class="tm-facts">{}</dl>').format(told.item(one.item), counted, said))
