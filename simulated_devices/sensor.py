"""A thermometer and hygrometer on a pseudo-terminal: a line a tenth of a second, invented."""

import random
import select

from simulated_devices.serial_rod import Port, stop_signals

EVERY_S = 0.1


def serve(air_c: float, air_rh: float, floor_c: float, seed: int) -> None:
    """Print the pseudo-terminal's path and speak there until stopped."""
    noise, port = random.Random(f"sensor {seed}"), Port(None)
    with stop_signals() as stopped:
        print(port.path, flush=True)
        while not select.select([stopped], [], [], EVERY_S)[0]:
            air, rh, floor = (
                value + noise.gauss(0.0, spread)
                for value, spread in ((air_c, 0.1), (air_rh, 0.5), (floor_c, 0.1))
            )
            port.write(f"T={air:.1f} C H={rh:.0f} % S={floor:.1f} C\r\n".encode())
    port.close()
