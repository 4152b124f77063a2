"""The recorder: owns the instrument and the session; screens, scripts and browsers are its clients."""
