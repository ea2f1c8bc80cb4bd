/** An instrument, worked out by hand as a ladder, and what is true of it behind a shunt: the truth of trials. */
import { toneFigures } from '../../../dist/src/circuit/tone.js';
import { over, times } from './draws.mjs';

const POT_OHM = 5e5;

export const instrument = {
  pickup: { resistanceOhm: 8200, inductanceH: 3.1, capacitanceF: 110e-12 },
  volumeOhm: POT_OHM,
  tone: { resistanceOhm: POT_OHM, capacitorF: 22e-9 },
  lead: { lengthM: 5, capacitanceFPerM: 95e-12 },
};

/** Pickup, tone, volume and lead as a ladder, worked out by hand: |V(output)/V(pickup)|². */
function ladder(siemens, farad, beyondJack) {
  return (frequenciesHz) =>
    frequenciesHz.map((hz) => {
      const w = 2 * Math.PI * hz;
      const end = 1e-5 * POT_OHM;
      const jack = [1 / POT_OHM + siemens, w * (475e-12 + farad)];
      const tone = over([1, 0], [POT_OHM, -1 / (w * 22e-9)]);
      const behindPot = over([1, 0], jack);
      const beyond = over([1, 0], [end + behindPot[0], behindPot[1]]);
      const hot = [tone[0] + beyond[0], tone[1] + beyond[1] + w * 110e-12];
      const [a, b] = times([8200, w * 3.1], hot);
      const [re, im] = times(over(over([1, 0], [1 + a, b]), [1 + end * jack[0], end * jack[1]]), beyondJack(hz));
      return re * re + im * im;
    });
}

/** @param through - Response of the board from its jack on. */
export function truthBehind({ siemens, farad }, through) {
  const own = toneFigures(ladder(siemens, farad, through));
  const straight = toneFigures(ladder(1e-6, 0, () => [1, 0]));
  return {
    capacitance: farad * 1e12,
    'input-resistance': 1e-3 / siemens,
    'player.loss-2-5k': straight.band2to5kDb - own.band2to5kDb,
    'player.loss-5k': straight.at5kDb - own.at5kDb,
    'player.resonance': own.resonance.frequencyHz,
    'player.resonance-height': own.resonance.heightDb,
    'player.resonance-shift': 100 * (own.resonance.frequencyHz / straight.resonance.frequencyHz - 1),
    'player.corner': own.cornerHz,
  };
}
