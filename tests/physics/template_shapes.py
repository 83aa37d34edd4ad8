"""Cutting templates for the tests: plain ones in round figures, and random ones. All invented."""

from hypothesis import strategies as st

from optics.core.templates.template import LEAST_LETTER_MM, Label, Length, Line, Template

NASTY_TEXTS = ('<script>alert("cut")</script>', "Biscuit & sons' drum", "]]>", "&lt;", "\x00\x1b[0m", "50 % ñ — 缝")
_TEXTS = st.sampled_from(["fold", "film edge", "hole", "tape here"])
_ROLES = st.sampled_from(["cut", "fold", "centre", "guide"])


def template(
    width_mm: float,
    height_mm: float,
    *,
    title: str = "Lid of the tea caddy",
    lines: tuple[Line, ...] = (),
    labels: tuple[Label, ...] = (),
    lengths: tuple[Length, ...] = (),
) -> Template:
    return Template("caddy_lid", title, width_mm, height_mm, lines, labels, lengths, ("Cut it out.",))


def framed(width_mm: float, height_mm: float, title: str = "Lid of the tea caddy") -> Template:
    """A closed outline 3 mm inside the paper, its width and height promised, its name in the middle."""
    right, bottom = width_mm - 3, height_mm - 3
    outline = ((3.0, 3.0), (right, 3.0), (right, bottom), (3.0, bottom))
    return template(
        width_mm,
        height_mm,
        title=title,
        lines=(Line("cut", outline, closed=True),),
        labels=(Label(width_mm / 2, height_mm / 2, "lid"),),
        lengths=(Length("lid width", right - 3, outline[:2]), Length("lid height", bottom - 3, outline[1:3])),
    )


@st.composite
def templates(
    draw: st.DrawFn,
    *,
    least_mm: float = 10.0,
    most_mm: float = 700.0,
    texts: st.SearchStrategy[str] = _TEXTS,
) -> Template:
    """Up to five lines, open and closed, up to four labels any way round, and a length along the first line."""
    width, height = draw(st.floats(least_mm, most_mm)), draw(st.floats(least_mm, most_mm))
    points = st.tuples(st.floats(0, width), st.floats(0, height))
    some_points = st.lists(points, min_size=2, max_size=8, unique=True).map(tuple)
    lines = draw(st.lists(st.builds(Line, _ROLES, some_points, st.booleans()), min_size=1, max_size=5))
    labels = st.builds(
        Label,
        st.floats(0, width),
        st.floats(0, height),
        texts,
        st.floats(LEAST_LETTER_MM, 5),
        st.sampled_from(["start", "middle", "end"]),
        st.sampled_from([0.0, 90.0, 180.0, 270.0, 33.0]),
    )
    along = Length("along the first", 0, lines[0].points)
    return template(
        width,
        height,
        lines=tuple(lines),
        labels=tuple(draw(st.lists(labels, max_size=4))),
        lengths=(Length(along.name, along.drawn_mm, along.points),),
    )
