"""What a reader can listen to: matched excerpts of direct and through, and hum, buzz and hiss taken apart."""

from humcheck.evidence.excerpts import make_excerpts, takes_heard
from humcheck.evidence.folder import folder_name, read_folder, refuse_folder, write_folder
from humcheck.evidence.linking import with_excerpts, with_media_of
from humcheck.evidence.sounds import Excerpts, Sound

__all__ = [
    "Excerpts",
    "Sound",
    "folder_name",
    "make_excerpts",
    "read_folder",
    "refuse_folder",
    "takes_heard",
    "with_excerpts",
    "with_media_of",
    "write_folder",
]
