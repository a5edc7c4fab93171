"""The build page, from the steps, the parts and the self-test's words."""

from hardware_notes.building.parts import CLASSES, MECHANICAL, cost_range
from hardware_notes.building.steps import STEPS, Mistake, Step
from hardware_notes.building.words import words


def _mistake(mistake: Mistake) -> str:
    shows = f"self-test: `{mistake.word}`" if mistake.word else mistake.sign
    return f"| {mistake.what} | {shows} |"


def _step(number: int, step: Step) -> str:
    cautions = "".join(f"\n> **Caution.** {caution}\n" for caution in step.cautions)
    parts = ", ".join(step.parts) or "none"
    done = "\n".join(f"- {sentence}" for sentence in step.do)
    wrong = "\n".join(_mistake(mistake) for mistake in step.mistakes)
    return (
        f"## {number}. {step.title}\n{cautions}\n![{step.title}]({step.picture})\n\n**Parts:** {parts}. "
        f"**Tools:** {', '.join(step.tools)}. **Time:** {step.minutes} min.\n\n{done}\n\n| mistake | how it "
        f"shows |\n|---|---|\n{wrong}\n"
    )


def _by_word() -> str:
    rows = []
    for word, looks_at in words().items():
        causes = "; ".join(
            f"{mistake.what} (step {number})"
            for number, step in enumerate(STEPS, start=1)
            for mistake in step.mistakes
            if mistake.word == word
        )
        rows.append(f"| `{word}` | {looks_at} | {causes} |")
    return "| word | what it asks | look first at |\n|---|---|---|\n" + "\n".join(rows) + "\n"


def _mechanical() -> str:
    rows = [
        f"| {part.name} | {part.count} | {part.what} | {part.instead} | {part.cost} |" for part in MECHANICAL
    ]
    return "| part | count | what | or | cost |\n|---|---|---|---|---|\n" + "\n".join(rows) + "\n"


def page() -> str:
    """The page as Markdown."""
    low, high = cost_range()
    hours = sum(step.minutes for step in STEPS) / 60
    classes = ", ".join(f"{letter} {least:g} to {most:g}" for letter, (least, most) in CLASSES.items())
    head = (
        "# Building\n\nMade by `python -m hardware_notes.building` from the tables of steps, parts and the "
        "self-test; the pictures are drawn from the solids that are printed "
        f"([case.md](case.md)).\n\n{len(STEPS)} steps, about {hours:.0f} hours at the bench beside the "
        f"printing, {low:.0f} to {high:.0f} euro or dollars for all parts (classes: {classes}; from "
        "memory). No board has been built yet: times, costs and what is marked *from memory* wait for the "
        "first one. Read [cautions.md](cautions.md) first.\n\nThe electrical parts are in "
        "[parts.md](parts.md). The mechanical ones:\n\n"
    )
    steps = "\n".join(_step(number, step) for number, step in enumerate(STEPS, start=1))
    tail = (
        "\n## When the self-test fails\n\nThe bar blinks six times; `curbtick install` says the words. "
        "After a failure the probe gives no verdicts until a test passes: put it right, then press both "
        "buttons twice.\n\n"
    )
    return head + _mechanical() + "\n" + steps + tail + _by_word()
