"""The study of one song, and a study or a songbook as a page."""
