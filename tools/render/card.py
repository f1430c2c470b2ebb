"""A scene's shapes and surfaces on a graphics card, or on what plays one on cores."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.parts import Material, Part, Scene
from tools.render.meshes import corners_of
from tools.render.projection import in_sight

_LAYOUT = (("3f4", 12, "place"), ("3f4", 12, "normal"), ("2f4", 8, "uv"), ("2i4", 8, "which"))
_SRGB = 0x8C41  # GL_SRGB8: turned to linear light before it is filtered
_BRIGHTEST = 6e4  # what a half-precision number holds
_CASTERS = ("locomotive", "tender", "other", "track", "wagon")


class Shapes:
    """Everything of a scene that can be drawn; lamps glow."""

    def __init__(self, gl: Any, scene: Scene) -> None:
        parts, materials, lamps = scene.parts, scene.materials, scene.lamps
        self._gl = gl
        self._made: list[Any] = []
        keys = sorted({p.material for p in parts}, key=lambda k: (materials[k].texture is None, k))
        places = {key: index for index, key in enumerate(keys)}
        listed = [(n, p, places[p.material]) for n, p in enumerate(parts)]
        listed.sort(key=lambda entry: entry[2])
        listed += [(-1, _square(lamp), len(keys) + n) for n, lamp in enumerate(lamps)]
        chosen = [materials[key] for key in keys]
        glows = [(0.0, 0.0, 0.0)] * len(chosen) + [lamp.radiance for lamp in lamps]
        chosen += [Material(color=(0.0, 0.0, 0.0)) for _ in lamps]
        self._upload(listed)
        self._arrays: dict[Any, Any] = {}
        self._textures = {
            index: self._cloth(m.texture) for index, m in enumerate(chosen) if m.texture is not None
        }
        self._table = self._surfaces(chosen, glows)
        self._is_room = np.array([part.owner not in _CASTERS for _, part, _ in listed])
        self._is_glass = np.array([chosen[material].glass for *_, material in listed])

    @property
    def has_glass(self) -> bool:
        """Whether anything has to be drawn over the rest."""
        return bool(self._is_glass.any())

    def keep(self, made: Any) -> Any:
        """Release something along with the shapes."""
        self._made.append(made)
        return made

    def release(self) -> None:
        """Give the card's memory back."""
        for made in self._made:
            made.release()
        self._made = []

    def draw(
        self,
        program: Any,
        camera: NDArray[np.float64],
        *,
        glass: bool = False,
        room: bool | None = None,
    ) -> None:
        """Draw what lies in the camera's sight.

        Parameters
        ----------
        program : moderngl.Program
        camera : ndarray, shape (4, 4)
            World to clip space.
        glass : bool
            Glass alone, or all but it.
        room : bool, optional
            The room alone, or all but it; both by default.
        """
        program["camera"].write(camera.T.astype(np.float32).tobytes())
        if "materials" in program:
            self._table.use(0)
            program["materials"], program["cloth"] = 0, 1
        array = self._array(program)
        wanted = in_sight(camera, self._balls) & (self._is_glass == glass)
        if room is not None:
            wanted &= self._is_room == room
        textured = "textured" in program
        for number in np.flatnonzero(wanted):
            first, count, material = self._spans[number]
            if textured:
                texture = self._textures.get(material)
                program["textured"] = int(texture is not None)
                if texture is not None:
                    texture.use(1)
            array.render(vertices=count, first=first)

    def _array(self, program: Any) -> Any:
        if program not in self._arrays:
            # Bytes of what a program does not ask for are stepped over.
            text = " ".join(kind if name in program else f"{size}x" for kind, size, name in _LAYOUT)
            used = [name for *_, name in _LAYOUT if name in program]
            content = [(self._buffer, text, *used)]
            array = self._gl.vertex_array(program, content, index_buffer=self._index)
            self._arrays[program] = self.keep(array)
        return self._arrays[program]

    def _upload(self, listed: list[tuple[int, Part, int]]) -> None:
        rows, faces, balls, corners, indices = [], [], [], 0, 0
        self._spans: list[tuple[int, int, int]] = []
        for number, part, material in listed:
            vertices, triangles, uv, normals = corners_of(part)
            row = np.zeros(len(vertices), dtype=[("f", "8f4"), ("i", "2i4")])
            row["f"] = np.concatenate([vertices, normals, uv], axis=1)
            row["i"] = number, material
            rows.append(row)
            faces.append(np.asarray(triangles, np.uint32) + np.uint32(corners))
            self._spans.append((indices, triangles.size, material))
            corners, indices = corners + len(vertices), indices + triangles.size
            low, high = vertices.min(axis=0), vertices.max(axis=0)
            balls.append([*(low + high) / 2, np.linalg.norm(high - low) / 2])
        self._buffer = self.keep(self._gl.buffer(np.concatenate(rows).tobytes()))
        self._index = self.keep(self._gl.buffer(np.concatenate(faces).tobytes()))
        self._balls = np.array(balls, float)

    def _surfaces(self, materials: list[Material], glows: list[Any]) -> Any:
        """One texel a number: colour and roughness; metallic, specular, coat; glow."""
        table = np.zeros((3, len(materials), 4), np.float32)
        for index, (m, glow) in enumerate(zip(materials, glows, strict=True)):
            table[0, index] = *m.color, float(np.clip(m.roughness, 0.05, 1.0))
            table[1, index] = m.metallic, np.clip(m.specular, 0.02, 1.0), m.clearcoat, 0.0
            table[2, index, :3] = glow
        size = (len(materials), 3)
        return self.keep(self._gl.texture(size, 4, table.tobytes(), dtype="f4"))

    def _cloth(self, image: NDArray[np.uint8]) -> Any:
        image = np.ascontiguousarray(image[..., :3])
        size = (image.shape[1], image.shape[0])
        texture = self._gl.texture(size, 3, image.tobytes(), alignment=1, internal_format=_SRGB)
        texture.build_mipmaps()
        return self.keep(texture)


def panorama_on(gl: Any, levels: Sequence[NDArray[np.float32]]) -> Any:
    """A panorama of light as a texture, each further level half the size of the last."""
    height, width = levels[0].shape[:2]
    texture = gl.texture((width, height), 3, _halves(levels[0]), alignment=1, dtype="f2")
    if len(levels) > 1:
        texture.build_mipmaps(0, len(levels) - 1)
        for level, light in enumerate(levels):
            texture.write(_halves(light), level=level, alignment=1)
    texture.repeat_x, texture.repeat_y = True, False
    return texture


def _halves(light: NDArray[np.float32]) -> bytes:
    return np.clip(light, 0, _BRIGHTEST).astype(np.float16).tobytes()


def _square(lamp: Any) -> Part:
    world = np.asarray(lamp.to_world, float)
    square = np.array([[-1, -1, 0, 1], [1, -1, 0, 1], [1, 1, 0, 1], [-1, 1, 0, 1]], float)
    vertices = (square @ world.T)[:, :3].astype(np.float32)
    return Part("lamp", "room", vertices, np.array([[0, 1, 2], [0, 2, 3]], np.int32), "")
