"""The scanner: pictures in, checked codes out, posted to the service in order."""

import os

# OpenCV reads these once, when it is imported: its warnings say nothing that a technician could use.
os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
