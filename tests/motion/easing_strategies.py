"""Random easings of every kind, as text."""

from hypothesis import strategies as st

unit = st.sampled_from([0.0, 1.0, 0.5, 0.42, 1e-9]) | st.floats(0, 1)
height = st.sampled_from([0.0, 1.0, -0.5, 1.56]) | st.floats(-3, 4)

beziers = st.builds("cubic-bezier({}, {}, {}, {})".format, unit, height, unit, height)
steps = st.builds(
    "steps({}, {})".format,
    st.integers(2, 12),
    st.sampled_from(["jump-start", "jump-end", "jump-none", "jump-both", "start", "end"]),
)
keywords = st.sampled_from(
    ["linear", "ease", "ease-in", "ease-out", "ease-in-out", "min-jerk", "step-start", "step-end"]
)

_place = st.integers(-20, 130).map(lambda n: f" {n}%") | st.floats(0, 1).map(lambda x: f" {x * 100:.3f}%")
_stop = st.tuples(st.floats(-2, 2).map(lambda y: f"{y:.6f}"), st.lists(_place, max_size=2).map("".join)).map("".join)
stop_lists = st.lists(_stop, min_size=2, max_size=7).map(lambda stops: f"linear({', '.join(stops)})")

smooth = beziers | st.sampled_from(["linear", "ease", "ease-in", "ease-out", "ease-in-out", "min-jerk"])
easings = smooth | steps | stop_lists | keywords
