"""Opens a timeline written by `stopwise clip --otio` with the reference library.

    pip install opentimelineio
    stopwise clip CLIP --otio keep.otio
    python3 testdata/check_otio.py keep.otio
"""
import sys

import opentimelineio as otio

timeline = otio.adapters.read_from_file(sys.argv[1])
assert isinstance(timeline, otio.schema.Timeline)
assert len(timeline.tracks) == 1
track = timeline.tracks[0]
assert track.kind == otio.schema.TrackKind.Video
total = otio.opentime.RationalTime(0, 1)
for clip in track:
    assert isinstance(clip, otio.schema.Clip)
    have, want = clip.available_range(), clip.source_range
    assert have.start_time <= want.start_time, (have, want)
    assert want.end_time_exclusive() <= have.end_time_exclusive(), (have, want)
    assert clip.media_reference.target_url.startswith("file:///")
    assert all(want.contains(m.marked_range.start_time) for m in clip.markers)
    total += want.duration
assert abs((track.duration() - total).to_seconds()) < 1e-9
again = otio.adapters.read_from_string(timeline.to_json_string(), "otio_json")
assert again.is_equivalent_to(timeline)
print(f"opentimelineio {otio.__version__}: {len(track)} clips, {total.to_seconds():.3f} s, as written")
