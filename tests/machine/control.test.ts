import { describe, expect, test } from 'vitest';
import {
  type ControlSoftware,
  controlOf,
  listSwitches,
  type Machine,
  parseMachine,
  placeInControl,
  sayTyped,
  typeSettings,
} from '../../src/machine/index.ts';
import { SHOP } from '../job/shop.ts';

const PERCENT: ControlSoftware = {
  power: '%',
  speed: 'mm/min',
  rate: 'us',
  fires: 'white',
  origin: 'bottom-left',
  mirrors: 'x',
};
const SETTINGS = { powerW: 3.6, speedMmPerS: 20, rateKHz: 40, passes: 2, scan: 'one-way' } as const;
const machine = SHOP.read('machines', 'galvo-355-f210').json as Machine;

describe('what is typed into the control software', () => {
  test('is in its own units, with what else it may be known as', () => {
    const control = controlOf({ control: PERCENT, powerW: { min: 0.1, max: 8 } })!;
    expect(control.fullPowerW).toBe(8);
    expect(typeSettings(SETTINGS, control).map(sayTyped)).toEqual([
      '45 % (3.6 W at the work)',
      '1200 mm/min (20 mm/s)',
      '25 µs (40 kHz)',
      '2',
    ]);
  });

  test('is in W, mm/s and kHz where nothing is known', () => {
    expect(typeSettings(SETTINGS, undefined).map(sayTyped)).toEqual(['3.6 W at the work', '20 mm/s', '40 kHz', '2']);
  });

  test('power is a share of what the software calls full, where that is not the machine’s most', () => {
    const control = controlOf({ control: { ...PERCENT, fullPowerW: 4 }, powerW: { min: 0.1, max: 8 } })!;
    expect(typeSettings(SETTINGS, control)[0]!.value).toBe(90);
  });

  test.each([
    ['top-left', 10, 20],
    ['top-right', 90, 20],
    ['bottom-left', 10, 60],
    ['bottom-right', 90, 60],
    ['centre', -40, 20],
  ] as const)('a place is told from the %s', (origin, xMm, yMm) => {
    expect(placeInControl({ xMm: 10, yMm: 20 }, { control: { origin }, fieldMm: [100, 80] })).toEqual({ xMm, yMm });
  });

  test('names what has to be switched, and nothing where black fires unmirrored', () => {
    expect(listSwitches(PERCENT)).toHaveLength(2);
    expect(listSwitches({ fires: 'black', mirrors: 'no' })).toEqual([]);
  });
});

describe('a machine’s record', () => {
  test('takes the facts, and is the same record as before without them', () => {
    expect(parseMachine({ ...machine, control: PERCENT }, 'm').control).toEqual(PERCENT);
    expect(JSON.stringify(parseMachine(machine, 'm'))).toBe(JSON.stringify(machine));
  });

  test('refuses a unit that is none', () => {
    const json = { ...machine, control: { ...PERCENT, speed: 'knots' } };
    expect(() => parseMachine(json, 'm')).toThrow(/control.speed.*found "knots"/);
  });
});
