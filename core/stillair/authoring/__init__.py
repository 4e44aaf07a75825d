"""For those who write procedures: rehearse a pack's scenarios."""
