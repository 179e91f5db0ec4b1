//! The world that a rig drills in, without hardware.
