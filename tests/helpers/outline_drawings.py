"""Drawings that are outlines, no centerlines: parts, plans, edges of solids, tubes by their sides."""


def rect(space, x, y, width, height):
    space.add_lwpolyline([(x, y), (x + width, y), (x + width, y + height), (x, y + height)], close=True)


def plate(space):
    rect(space, 0, 0, 200, 100)
    for x in (20, 180):
        for y in (20, 80):
            space.add_circle((x, y), 5)


def flange(space):
    for x, y, r in ((0, 0, 80), (0, 0, 40), (60, 0, 7), (-60, 0, 7), (0, 60, 7), (0, -60, 7)):
        space.add_circle((x, y), r)


def flat_pattern(space):
    corner = [
        (0, 0),
        (100, 0),
        (100, 5),
        (103, 5),
        (103, 60),
        (100, 60),
        (100, 65),
        (0, 65),
        (0, 60),
        (-3, 60),
        (-3, 5),
    ]
    space.add_lwpolyline([*corner, (0, 5)], close=True)
    for y in (5, 6.5, 58.5, 60):
        space.add_line((0, y), (100, y))


def floor_plan(space):
    rect(space, 0, 0, 8000, 6000)
    for x, y, width, height in ((300, 300, 3600, 2600), (4000, 300, 3700, 2600), (300, 3000, 7400, 2700)):
        rect(space, x, y, width, height)
    for x, y in ((900, 300), (5000, 300)):
        space.add_arc((x, y), 800, 0, 90)
        space.add_line((x, y), (x, y + 800))


def wireframe(space):
    """Rectangular tube, 3 mm thick, edge by edge."""
    for size in (40, 34):
        a, b = 20 - size / 2, 20 + size / 2
        corners = [(a, a), (b, a), (b, b), (a, b)]
        for x in (0, 500):
            for (y, z), (v, w) in zip(corners, corners[1:] + corners[:1], strict=True):
                space.add_line((x, y, z), (x, v, w))
        for y, z in corners:
            space.add_line((0, y, z), (500, y, z))


def three_views(space):
    rect(space, 0, 0, 120, 60)
    rect(space, 0, 100, 120, 8)
    rect(space, 160, 0, 8, 60)
    for x in (30, 90):
        space.add_circle((x, 30), 8)
        for side in (-8, 8):
            space.add_line((x + side, 100), (x + side, 108))


def views_of_a_tube(space, third=600, border=False):
    """Legs of 300 along x, 250 along y and 200 upwards with bends of radius 60, from above, in front and from the side.

    In each view one leg is seen end on, and the bend into it as a straight; ``third`` is where the view from the side
    stands.
    """
    space.add_line((0, 0), (300, 0))
    space.add_arc((300, 60), 60, 270, 360)
    space.add_line((360, 60), (360, 370))
    space.add_lwpolyline([(0, 600), (360, 600), (360, 860)])
    space.add_line((third, 600), (third + 310, 600))
    space.add_arc((third + 310, 660), 60, 270, 360)
    space.add_line((third + 370, 660), (third + 370, 860))
    if border:
        rect(space, -100, -100, 1200, 1100)


def two_views_of_a_tube(space):
    """From above and from the side: legs of 300 along x, 250 along y, 200 upwards, with bends of radius 60."""
    space.add_line((0, 0), (300, 0))
    space.add_arc((300, 60), 60, 270, 360)
    space.add_line((360, 60), (360, 370))
    space.add_line((600, 0), (600, 310))
    space.add_arc((660, 310), 60, 90, 180)
    space.add_line((660, 370), (860, 370))


def bent_tube(space):
    """Open at both ends."""
    for d in (0, 25):
        space.add_line((0, d), (500, d))
        space.add_arc((500, 100), 100 - d, 270, 0)
        space.add_line((600 - d, 100), (600 - d, 400))


def frame_in_one(space):
    """Two rails of 30 mm, two posts of 25 mm between them and a stub below, all drawn as one outline."""
    for y, spans in ((0, [(0, 500), (525, 1000)]), (530, [(0, 1000)])):
        for a, b in spans:
            space.add_line((a, y), (b, y))
    for a, b in ((0, 200), (225, 700), (725, 1000)):
        space.add_line((a, 30), (b, 30))
        space.add_line((a, 500), (b, 500))
    for x in (0, 1000):
        space.add_line((x, 0), (x, 30))
        space.add_line((x, 500), (x, 530))
    for x in (200, 225, 700, 725):
        space.add_line((x, 30), (x, 500))
    space.add_lwpolyline([(500, 0), (500, -300), (525, -300), (525, 0)])


def gate_of_outlines(space):
    """A frame of 40 mm square tube with its mitres, pickets of 20 mm whose sides end on the rails'."""
    rect(space, 0, 0, 1000, 1200)
    rect(space, 40, 40, 920, 1120)
    for x, y in ((0, 0), (960, 40), (960, 1160), (0, 1200)):
        space.add_line((x, y), (x + 40, 40 if y == 0 else 0 if y == 40 else 1200 if y == 1160 else 1160))
    for i in range(8):
        for x in (140 + i * 100, 160 + i * 100):
            space.add_line((x, 40), (x, 1160))


def sticks(space):
    for i in range(5):
        rect(space, 0, i * 100, 700, 25.4)


def sides_and_centerline(space, layer):
    """A tube of 40 mm bent 45° at 140 mm, and its centerline drawn to few digits: its arc has another centre."""
    half = 2.0**0.5 / 2.0
    x, y = 500.0 + 140.0 * half, 140.0 - 140.0 * half
    ends = []
    for off in (20.0, -20.0):
        from_, to = (x - off * half, y + off * half), (x - off * half + 300.0 * half, y + off * half + 300.0 * half)
        space.add_line((0, off), (500, off), {"layer": "EDGES"})
        space.add_arc((500, 140), 140 - off, 270, 315, dxfattribs={"layer": "EDGES"})
        space.add_line(from_, to, {"layer": "EDGES"})
        ends.append(to)
    space.add_line((0, 20), (0, -20), {"layer": "EDGES"})
    space.add_line(*ends, {"layer": "EDGES"})
    space.add_line((0, 0), (500, 0), {"layer": layer})
    space.add_arc((499.93, 140.16), 140.16, 270.03, 314.98, dxfattribs={"layer": layer})
    space.add_line((x, y), (x + 300.0 * half, y + 300.0 * half), {"layer": layer})


def drawn_tubes(space):
    """Tubes of seven sizes by their outline: one with bore and centerline, one with the lines where a bend begins."""
    for k, width in enumerate((20, 25, 30, 38, 40, 50)):
        rect(space, 0, -200 * k, 700, width)
    for x in (0, 700):
        space.add_line((x, 300), (x, 360))
    for y in (300, 303, 330, 357, 360, 360):
        space.add_line((0, y), (700, y))
    for x in (1000, 1060):
        space.add_line((x, 0), (x, 300))
        space.add_arc((1200, 300), 1200 - x, 90, 180)
        space.add_line((1200, 1500 - x), (1400, 1500 - x))
    space.add_line((1000, 300), (1060, 300))
    space.add_lwpolyline([(3000, 0), (3400, 0), (3400, 600)])
