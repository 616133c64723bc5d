"""Folders of layer bitmaps: the count of lit pixels is the closed form of the drawn shape."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest
from PIL import Image
from tests.files.part_files import put

from vatwright.errors import InputError
from vatwright.files.parts.bitmaps import lit
from vatwright.files.parts.mesh import Limits, read_part

HALF_LIT = np.array([[0, 127, 128, 255]], dtype=np.uint8)


def save(folder, name, pixels, mode=None):
    Image.fromarray(np.asarray(pixels)).convert(mode).save(folder / name) if mode else Image.fromarray(
        np.asarray(pixels)
    ).save(folder / name)


def square(side=4, width=8, height=6):
    picture = np.zeros((height, width), dtype=np.uint8)
    picture[1 : 1 + side, 2 : 2 + side] = 255
    return picture


def read(folder, **given):
    return read_part(folder, **{"pixel_m": 5e-5, "layer_nm": 50_000, **given})


def refusal(folder, **given):
    with pytest.raises(InputError) as caught:
        read(folder, **given)
    return str(caught.value)


def test_a_cube_of_10_mm_is_200_layers_of_100_mm2(tmp_path):
    # 10 mm at 0.05 mm pixels and layers: 200 layers of 200 x 200 pixels, 100 mm2 each, 1000 mm3 (closed form).
    for k in range(200):
        save(tmp_path, f"layer{k}.png", square(side=200, width=230, height=210))
    part = read(tmp_path)
    areas = [mask.sum() * part.masks.pixel_m**2 for mask in part.masks]
    assert part.kind == "layer bitmaps"
    assert len(part.masks) == len(areas) == 200
    np.testing.assert_allclose(areas, 1e-4, rtol=1e-12)
    assert sum(areas) * part.masks.layer_nm * 1e-9 == pytest.approx(1e-6, rel=1e-12)
    assert part.warnings == ()


@pytest.mark.parametrize("suffix", ["png", "bmp", "tif", "TIFF", "PNG"])
def test_every_format_gives_the_same_mask(tmp_path, suffix):
    save(tmp_path, f"1.{suffix}", square())
    np.testing.assert_array_equal(read(tmp_path).masks.mask(0), square() > 0)


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGB", "RGBA", "LA"])
def test_every_kind_of_pixel_gives_the_same_mask(tmp_path, mode):
    save(tmp_path, "1.png", square(), mode)
    np.testing.assert_array_equal(read(tmp_path).masks.mask(0), square() > 0)


def test_half_of_full_brightness_is_lit(tmp_path):
    save(tmp_path, "1.png", HALF_LIT)
    save(tmp_path, "2.png", HALF_LIT.astype(np.uint16) * 256)
    save(tmp_path, "3.png", np.stack([np.full((1, 4), 255, np.uint8)] * 3 + [HALF_LIT], axis=-1))
    for mask in read(tmp_path).masks:
        assert mask.tolist() == [[False, False, True, True]]


def test_what_is_transparent_is_dark():
    picture = Image.new("RGBA", (2, 1), (255, 255, 255, 0))
    picture.putpixel((1, 0), (255, 255, 255, 255))
    assert lit(picture).tolist() == [[False, True]]


def test_layers_are_sorted_by_the_numbers_in_their_names(tmp_path):
    for k in (10, 9, 2, 1, 100):
        save(tmp_path, f"Slice_{k}.png", square())
    part = read(tmp_path)
    assert [p.name for p in part.masks.paths] == [f"Slice_{k}.png" for k in (1, 2, 9, 10, 100)]
    jump = "the layer numbers jump from Slice_2.png to Slice_9.png (and at 1 more place)"
    assert part.warnings == (f"{jump}: make sure that no layer is missing",)


def test_other_files_in_the_folder_are_left_alone(tmp_path):
    save(tmp_path, "1.png", square())
    put(tmp_path, "notes.txt", b"slate on Wren")
    put(tmp_path, "._1.png", b"rubbish of a file system")
    (tmp_path / "2.png").mkdir()
    assert len(read(tmp_path).masks) == 1


def test_a_folder_without_pictures_is_refused(tmp_path):
    put(tmp_path, "notes.txt", b"")
    assert "holds no layer pictures (.png, .bmp, .tif, .tiff)" in refusal(tmp_path)


def test_all_that_is_missing_is_asked_for_at_once(tmp_path):
    message = refusal(tmp_path, pixel_m=None, layer_nm=None, unit="furlong")
    for said in ("--pixel-mm 0.05", "--layer-mm 0.05", "holds no layer pictures", "'furlong' is no unit"):
        assert said in message


@pytest.mark.parametrize(
    "given", [{"pixel_m": 0.0}, {"pixel_m": -1.0}, {"pixel_m": float("nan")}, {"layer_nm": 0}, {"layer_nm": -5}]
)
def test_sizes_that_are_none_are_refused(tmp_path, given):
    save(tmp_path, "1.png", square())
    assert "is none" in refusal(tmp_path, **given)


def test_a_unit_is_not_used(tmp_path):
    save(tmp_path, "1.png", square())
    assert read(tmp_path, unit="mm").warnings == (
        "a unit was given and not used: pictures have the pixel size that was given",
    )


def test_pictures_of_another_size_are_named(tmp_path):
    for k in range(5):
        save(tmp_path, f"{k}.png", square())
    save(tmp_path, "3.png", square(width=9))
    assert "1 of 5 pictures are not 8 x 6 pixels; 3.png is 9 x 6" in refusal(tmp_path)


def test_every_bad_picture_is_named(tmp_path):
    save(tmp_path, "1.png", square())
    put(tmp_path, "2.png", b"<html>not found</html>")
    put(tmp_path, "3.bmp", b"")
    frames = [Image.fromarray(square())] * 3
    frames[0].save(tmp_path / "4.tif", save_all=True, append_images=frames[1:])
    Image.fromarray(square().astype(np.float32)).save(tmp_path / "5.tif")
    message = refusal(tmp_path)
    for said in (
        "2.png: it is no picture",
        "3.bmp: it is no picture",
        "4.tif: it holds 3 pictures",
        "5.tif: its pixels are of a kind (F)",
    ):
        assert said in message


def test_many_bad_pictures_are_counted(tmp_path):
    for k in range(30):
        put(tmp_path, f"{k}.png", b"?")
    message = refusal(tmp_path)
    assert len(message.splitlines()) == 9
    assert "22 more pictures cannot be used" in message


def png_head(width, height):
    """A PNG whose header promises a size (PNG specification, chunk layout), with nothing much behind it."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("width", "height"), [(13_000, 13_000), (100_000, 100_000), (2**31 - 1, 2**31 - 1)])
def test_a_picture_that_would_fill_the_memory_is_refused_from_its_header(tmp_path, width, height):
    put(tmp_path, "1.png", png_head(width, height))
    assert "1.png: " in refusal(tmp_path)
    assert "150000000" in refusal(tmp_path)


def test_a_large_screen_is_no_bomb(tmp_path):
    put(tmp_path, "1.png", png_head(15_000, 8_000))
    assert read(tmp_path).masks.width == 15_000


def test_a_picture_cut_short_is_named_when_its_layer_is_read(tmp_path):
    save(tmp_path, "1.png", np.random.default_rng(1).integers(0, 255, (64, 64), dtype=np.uint8))
    whole = (tmp_path / "1.png").read_bytes()
    put(tmp_path, "1.png", whole[: len(whole) // 2])
    masks = read(tmp_path).masks
    with pytest.raises(InputError, match=r"1\.png: the picture cannot be read"):
        list(masks)


def test_limits(tmp_path):
    for k in range(3):
        save(tmp_path, f"{k}.png", square())
    assert "3 pictures, at most 2 are read" in refusal(tmp_path, limits=Limits(layers=2))
    assert "at most 47 are read" in refusal(tmp_path, limits=Limits(picture_pixels=47))
    assert "larger than 10 bytes" in refusal(tmp_path, limits=Limits(picture_bytes=10))
    assert len(read(tmp_path, limits=Limits(layers=3, picture_pixels=48)).masks) == 3
