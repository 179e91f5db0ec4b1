//! How to talk to the rig's parts, generic over embedded-hal 1.0.
#![cfg_attr(not(test), no_std)]
