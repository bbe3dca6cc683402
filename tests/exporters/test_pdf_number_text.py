"""Numbers of a PDF page are written as the PDF library writes its own."""

from __future__ import annotations

import random

import pytest
from reportlab.lib.rl_accel import fp_str

from converter.exporters.pdf.canvas import number_text


@pytest.mark.parametrize("number", [0.0, 1.0, -0.5, 0.5, 1e-7, 2e-7, 10.0, 99.999999, 999.99996, 1e3, 1e6, -123456.7])
def test_a_number_is_written_as_the_library_does(number):
    assert number_text(number) == fp_str(number)


def test_numbers_of_any_size_are_written_as_the_library_does():
    draw = random.Random(1)
    numbers = [draw.choice([-1.0, 1.0]) * 10.0 ** draw.uniform(-9.0, 7.0) for _ in range(2000)]
    assert [number_text(number) for number in numbers] == [fp_str(number) for number in numbers]
