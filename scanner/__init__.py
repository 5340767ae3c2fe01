"""The scanner: pictures in, checked codes out, posted to the service in order."""

import os

# OpenCV reads these once, when it is imported: its warnings say nothing that a technician could use.
os.environ.setdefault("OPENCV_LOG_LEVEL", "SILENT")
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
# NumPy reads this once too: on a busy bench computer, a second thread costs more than the small products here gain.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
