"""What a value was some time ago: the language has the rate between two rows and values held by a condition, no more."""


def mean_rate(channel, unit):
    """Channels for the mean change a second over the last half second, `CHANNEL_rate`.

    Four channels in turn hold what a value was when their quarter of a second ended, at the row before (rows are 20 ms
    apart); between two of them the value of half a second ago lies on a straight line.
    """
    all_of_them = {
        "recorded_s": {"expression": "seconds_within(true)", "unit": "s"},
        "quarter": {"expression": "floor(4.0 * (recorded_s + 0.01))"},
        "into_quarter": {"expression": "4.0 * (recorded_s + 0.02) - quarter"},
    }
    held = [f"{channel}_{k}_of_4" for k in range(4)]
    for k, name in enumerate(held):
        all_of_them[name] = {"expression": f"held({channel}, quarter % 4.0 != {k}.0)", "unit": unit}

    def ends(ago):
        chosen = [held[(k - ago) % 4] for k in range(4)]
        return "quarter % 4.0 == 0.0 ? {} : quarter % 4.0 == 1.0 ? {} : quarter % 4.0 == 2.0 ? {} : {}".format(*chosen)

    all_of_them |= {f"{channel}_{name}": {"expression": ends(ago), "unit": unit} for name, ago in (("old", 3), ("newer", 2))}
    past = f"{channel}_old * (1.0 - into_quarter) + {channel}_newer * into_quarter"
    return {**all_of_them, f"{channel}_rate": {"expression": f"2.0 * ({channel} - ({past}))", "unit": unit}}
