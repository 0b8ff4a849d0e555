"""Many simulated trials at once: layout, fit, small-sample inference, closed form, streams."""
