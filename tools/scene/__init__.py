"""Rooms, light and camera positions for pictures of model locomotives."""

from tools.scene.furnish import HELD_ROOMS, TRACK_ROOMS, TRAIN_ROOMS, furnish
from tools.scene.room import Lamp, Pose, Room, Slot
from tools.scene.viewpoint import distractor_slots, place_camera

__all__ = [
    "HELD_ROOMS",
    "TRACK_ROOMS",
    "TRAIN_ROOMS",
    "Lamp",
    "Pose",
    "Room",
    "Slot",
    "distractor_slots",
    "furnish",
    "place_camera",
]
