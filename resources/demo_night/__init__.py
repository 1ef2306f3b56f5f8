"""The demo night: a made-up night of northern lights, computed in linear light and photographed by a made-up camera."""
