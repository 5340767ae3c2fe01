"""The invented practice: Tarn Bridge Small Animal Practice, three weeks of it, one day before a camera."""
