"""The person, the air and the cord: vibration, noise, vapour, voltage, cautions."""
