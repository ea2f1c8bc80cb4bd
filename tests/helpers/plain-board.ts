/** The simplest of boards, for tests that need one and care about a few of its keys. */
import type { Board } from '../../src/board/model.js';

/** No buffer, no wiring, no loops, one output; `more` takes the place of what it names. */
export const boardWith = (more: Partial<Board> = {}): Board => ({
  name: 'Test board',
  serial: null,
  mainsHz: 50,
  limits: { kind: 'named', name: 'studio-quiet' },
  instrument: null,
  input: { wiring: null, buffer: null },
  loops: [],
  outputs: [{ id: 'A', name: 'A', loadOhm: null, lift: false, polaritySwitch: false, isolated: false }],
  match: [],
  supplies: [],
  invented: true,
  ...more,
});
