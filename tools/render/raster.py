"""A rasteriser as a second renderer of the same scenes: many times faster, on cores too.

What trains on one renderer alone learns its faults, and a small part's judge needs more
engines than a path tracer can draw. Light here is a panorama of the room taken from the
middle of the engine, cut into distant lights with a shadow map each.
Needs moderngl and an EGL driver (a graphics card's, or Mesa's llvmpipe).
"""

from __future__ import annotations

import sys
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.parts import Scene
from tools.render import probe, shaders
from tools.render.card import Shapes, panorama_on
from tools.render.projection import (
    camera_basis,
    distances,
    lens,
    looking,
    parallel,
    perspective,
    project,
)
from tools.render.raytrace import FirstHits

_SCALE = 2  # subpixels a side
_SHADOW = 512  # pixels of a shadow map's side
_FACE = 96  # pixels of a side of the six pictures that become the panorama
_REACH = 1.35  # of the engine's radius: what the shadow maps hold
_LAMPS = 16  # of a room's lamps as many light the panorama


class Rasteriser:
    """OpenGL without a window; makes stages. Any lens will do: `lenses` names none.

    `card` is the place of a graphics card in EGL's list of devices; None leaves the choice
    to the driver.
    """

    name = "rasterised"
    lenses: tuple[float, ...] = ()

    def __init__(self, card: int | None = None) -> None:
        import moderngl

        self.gl = _context(moderngl, card)
        make = self.gl.program
        self.surface = make(vertex_shader=shaders.VERTEX, fragment_shader=shaders.SURFACE)
        self.room = make(vertex_shader=shaders.VERTEX, fragment_shader=shaders.ROOM)
        self.sky = make(vertex_shader=shaders.SKY_VERTEX, fragment_shader=shaders.SKY)
        self.depth = make(vertex_shader=shaders.DEPTH_VERTEX, fragment_shader=shaders.DEPTH)
        corners = np.array([-1, -1, 1, -1, -1, 1, 1, 1], np.float32)
        self.corners = self.gl.buffer(corners.tobytes())
        self.backdrop = self.gl.vertex_array(self.sky, [(self.corners, "2f4", "corner")])
        self._frames: dict[tuple[int, int], Any] = {}

    def stage(self, scene: Scene) -> RasterStage:
        """The scene, ready to be photographed."""
        return RasterStage(self, scene)

    def frame(self, size: tuple[int, int]) -> Any:
        """A framebuffer of radiance, part and depth; kept for the next picture of the size."""
        if size not in self._frames:
            self._frames[size] = self.gl.framebuffer(
                [self.gl.texture(size, 4, dtype="f2"), self.gl.texture(size, 1, dtype="i4")],
                self.gl.depth_texture(size),
            )
        return self._frames[size]


def _context(moderngl: Any, card: int | None) -> Any:
    if card is not None:
        try:
            return moderngl.create_standalone_context(backend="egl", device_index=card)
        except Exception as error:  # its own kind; EGL may list fewer devices than there are cards
            print(f"card {card}: {error}; the driver chooses", file=sys.stderr)
    return moderngl.create_standalone_context(backend="egl")


class RasterStage:
    """One scene on the card; many views of it may be taken."""

    def __init__(self, home: Rasteriser, scene: Scene) -> None:
        self._home, self.parts = home, scene.parts
        self._shapes = Shapes(home.gl, scene)
        keep = self._shapes.keep
        self._surroundings = keep(panorama_on(home.gl, [scene.environment]))
        engine = [p.vertices for p in scene.parts if p.owner in ("locomotive", "tender")]
        points = np.concatenate(engine or [np.array([[-0.15, 0, 0], [0.15, 0, 0.1]])])
        low, high = points.min(axis=0).astype(float), points.max(axis=0).astype(float)
        self._middle = (low + high) / 2
        self._radius = float(np.linalg.norm(high - low)) / 2 * _REACH
        self._last: tuple[Any, float, tuple[int, int]] | None = None
        around = self._panorama(scene)
        self._mirror = keep(panorama_on(home.gl, probe.blurred(around)))
        small = cv2.resize(around, (64, 32), interpolation=cv2.INTER_AREA)
        self._along, self._colour = probe.median_cut(small, shaders.LIGHTS)
        self._cameras = [parallel(a, self._middle, self._radius) for a in self._along]
        self._shadows = self._cast_shadows()

    def release(self) -> None:
        """Give the card's memory back."""
        self._shapes.release()

    def photograph(
        self,
        pose: Any,
        fov_deg: float,
        size: tuple[int, int],
        *,
        samples: int,
        seed: int,
        rng: np.random.Generator,
    ) -> NDArray[np.float32]:
        """Linear radiance, shape (height, width, 3); `samples`, `seed`, `rng` change nothing."""
        self._draw(pose, fov_deg, size)
        return self._light

    def first_hits(self, pose: Any, fov_deg: float, size: tuple[int, int]) -> FirstHits:
        """Part and distance behind the middle of each pixel, to half a subpixel."""
        self._draw(pose, fov_deg, size)
        half = np.s_[_SCALE // 2 :: _SCALE, _SCALE // 2 :: _SCALE]
        return FirstHits(self._part[half].copy(), self._distance[half].copy())

    def cast(
        self, origins: NDArray[np.float64], rays: NDArray[np.float64]
    ) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
        """First part and distance along rays from the last view's eye, as its picture has them.

        The furthest of the subpixels around counts, so that a point on a surface is not
        hidden by its own slope. Outside the picture nothing is met.
        """
        assert self._last is not None
        pixels, depth = project(origins + rays, *self._last)
        x, y = np.floor(pixels.T * _SCALE).astype(np.int64)
        rows, columns = self._part.shape
        inside = (depth > 0) & (x >= 0) & (y >= 0) & (x < columns) & (y < rows)
        x, y = np.clip(x, 0, columns - 1), np.clip(y, 0, rows - 1)
        part = np.where(inside, self._part[y, x], -1).astype(np.int32)
        reach = np.where(inside, self._furthest[y, x], np.inf).astype(np.float32)
        return part, reach

    def _draw(self, pose: Any, fov_deg: float, size: tuple[int, int]) -> None:
        last = self._last
        if last is not None and last[0] is pose and last[1:] == (fov_deg, size):
            return
        gl, home = self._home.gl, self._home
        shape = (size[1] * _SCALE, size[0] * _SCALE)
        frame = home.frame(shape[::-1])
        frame.use()
        frame.clear(depth=1.0)
        self._draw_sky(camera_basis(pose), fov_deg, size[1] / size[0])
        camera = perspective(pose, fov_deg, size)
        gl.enable(gl.DEPTH_TEST)
        # Depth first, so that each subpixel is lit once.
        self._shapes.draw(home.depth, camera)
        gl.depth_func = "=="
        self._light_up(np.asarray(pose.origin, float))
        home.surface["glass"] = 0
        self._shapes.draw(home.surface, camera)
        gl.depth_func = "<="
        part = np.frombuffer(frame.read(components=1, attachment=1, dtype="i4"), np.int32)
        depth = np.frombuffer(frame.read(components=1, attachment=-1, dtype="f4"), np.float32)
        if self._shapes.has_glass:
            frame.depth_mask = False
            gl.enable(gl.BLEND)
            gl.blend_func = gl.ONE, gl.SRC_ALPHA
            home.surface["glass"] = 1
            self._shapes.draw(home.surface, camera, glass=True)
            gl.disable(gl.BLEND)
            frame.depth_mask = True
        self._light = cv2.resize(_radiance(frame, shape), size, interpolation=cv2.INTER_AREA)
        # OpenGL's rows go from the bottom to the top.
        self._part = part.reshape(shape)[::-1].copy()
        along = distances(depth.reshape(shape)[::-1], fov_deg)
        self._distance = np.where(self._part >= 0, along, np.inf).astype(np.float32)
        self._furthest = cv2.dilate(self._distance, np.ones((3, 3), np.uint8))
        self._last = (pose, fov_deg, size)

    def _light_up(self, eye: NDArray[np.float64]) -> None:
        """Give the surfaces' program its lights, their shadows and the mirrored room."""
        program = self._home.surface
        program["eye"].write(eye.astype(np.float32).tobytes())
        program["light_along"].write(self._along.astype(np.float32).tobytes())
        program["light_colour"].write(self._colour.astype(np.float32).tobytes())
        cameras = np.stack([camera.T for camera in self._cameras])
        program["light_camera"].write(cameras.astype(np.float32).tobytes())
        self._mirror.use(2)
        self._shadows.use(3)
        program["probe"], program["shadows"] = 2, 3
        program["probe_levels"] = float(probe.LEVELS)

    def _draw_sky(self, basis: NDArray[np.float64], fov_deg: float, aspect: float) -> None:
        gl, sky = self._home.gl, self._home.sky
        wide = np.tan(np.radians(fov_deg) / 2)
        rays = np.stack([basis[0] * wide, -basis[1] * wide * aspect, basis[2]])
        sky["rays"].write(rays.astype(np.float32).tobytes())
        self._surroundings.use(2)
        sky["surroundings"] = 2
        gl.disable(gl.DEPTH_TEST)
        self._home.backdrop.render(gl.TRIANGLE_STRIP)

    def _panorama(self, scene: Scene) -> NDArray[np.float32]:
        """The room, its lamps and its surroundings as seen from the engine's middle."""
        gl, program = self._home.gl, self._home.room
        small = cv2.resize(scene.environment, (64, 32), interpolation=cv2.INTER_AREA)
        program["sky"].write(probe.harmonics(small).astype(np.float32).tobytes())
        lamps = scene.lamps[:_LAMPS]
        program["lamps"] = len(lamps)
        rows = np.zeros((3, _LAMPS, 3), np.float32)
        for index, lamp in enumerate(lamps):
            world = np.asarray(lamp.to_world, float)
            area = 4 * np.linalg.norm(world[:3, 0]) * np.linalg.norm(world[:3, 1])
            along = world[:3, 2] / np.linalg.norm(world[:3, 2])
            rows[:, index] = world[:3, 3], along, np.asarray(lamp.radiance) * area
        for name, row in zip(("lamp_at", "lamp_along", "lamp_power"), rows, strict=True):
            program[name].write(row.tobytes())
        program["eye"].write(self._middle.astype(np.float32).tobytes())
        frame = self._home.frame((_FACE, _FACE))
        faces = []
        for basis in np.array(probe.FACES, float):
            frame.use()
            frame.clear(depth=1.0)
            self._draw_sky(basis, 90.0, 1.0)
            gl.enable(gl.DEPTH_TEST)
            camera = lens(90.0, 1.0) @ looking(basis, self._middle)
            self._shapes.draw(program, camera, room=True)
            faces.append(_radiance(frame, (_FACE, _FACE)))
        return probe.panorama(np.stack(faces), 128)

    def _cast_shadows(self) -> Any:
        """The shadow maps, side by side in one picture of depths."""
        gl, home = self._home.gl, self._home
        wide = shaders.TILES * _SHADOW
        depths = self._shapes.keep(gl.depth_texture((wide, wide)))
        frame = self._shapes.keep(gl.framebuffer(depth_attachment=depths))
        frame.use()
        frame.clear(depth=1.0)
        gl.enable(gl.DEPTH_TEST)
        for index, camera in enumerate(self._cameras):
            row, column = divmod(index, shaders.TILES)
            frame.viewport = (column * _SHADOW, row * _SHADOW, _SHADOW, _SHADOW)
            self._shapes.draw(home.depth, camera, room=False)
        depths.compare_func = "<="
        depths.repeat_x = depths.repeat_y = False
        return depths


def _radiance(frame: Any, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A framebuffer's light from the top row down, shape (height, width, 3)."""
    read = np.frombuffer(frame.read(components=3, dtype="f2"), np.float16)
    light = np.nan_to_num(read.astype(np.float32), posinf=6e4)
    return np.ascontiguousarray(light.reshape(*shape, 3)[::-1])
