"""The airframe and what it does: vibration, motors, attitude, modes."""
