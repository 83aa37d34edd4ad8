"""The outline of a measured hole, drawn to lie over the picture it was found in."""

from .hole_scan import HoleScan

#: Drawn twice, a dark line in a wider light one, so that it shows on any ground.
STROKES = (("white", 3.0, ""), ("black", 1.5, ' stroke-dasharray="6 4"'))


def outline_svg(scan: HoleScan, *, width_px: int, height_px: int) -> str:
    """An SVG of the picture's size in pixels with nothing in it but the outline and the hole's middle.

    Its user units are the picture's pixels, so that it fits over the picture at any size; the strokes keep their
    width on the screen. Presentation attributes only.
    """
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in scan.outline_px.tolist())
    x, y = scan.centre_px
    arm = 0.04 * scan.diameter_mm / scan.mm_per_pixel
    cross = f"M{x - arm:.2f},{y:.2f}H{x + arm:.2f}M{x:.2f},{y - arm:.2f}V{y + arm:.2f}"
    shapes = (f'<polygon points="{points}"', f'<path d="{cross}"')
    drawn = "".join(
        f'{shape} stroke="{colour}" stroke-width="{width}"{dashes} vector-effect="non-scaling-stroke"/>'
        for shape in shapes
        for colour, width, dashes in STROKES
    )
    kind = "bright" if scan.polarity == "bright_hole" else "dark"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width_px} {height_px}" role="img">'
        "<title>Outline of the hole</title>"
        f"<desc>A {kind} hole {scan.diameter_mm:.4f} mm across, give or take {scan.uncertainty_mm:.4f} mm, with its "
        f"smallest radius {scan.roundness_share:.0%} of its largest; {scan.burr_share:.0%} of the outline stands in."
        f'</desc><g fill="none" stroke-linejoin="round">{drawn}</g></svg>'
    )
