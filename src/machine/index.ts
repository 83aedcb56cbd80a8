export {
  CONTROL_CHOICES,
  type ControlSoftware,
  controlOf,
  type KnownControl,
  listSwitches,
  placeInControl,
  readTyped,
  roundTyped,
  saySetting,
  sayTyped,
  type TypedSetting,
  typeSetting,
  typeSettings,
} from './control.ts';
export * from './design.ts';
export * from './evenness.ts';
export * from './extents.ts';
export * from './fit.ts';
export * from './fitted-machine.ts';
export * from './interval.ts';
export type { MotionRow } from './motions/motion.ts';
export { motionRecord } from './motions/register.ts';
export * from './parameters.ts';
export * from './parse-machine.ts';
export * from './program.ts';
export { ASSUMED_ROTARY, listRotaryRows, withoutRotary } from './rotary.ts';
export * from './savings.ts';
export * from './scan-path.ts';
export * from './time.ts';
export * from './trapezoid.ts';
export * from './two-way.ts';
export * from './types.ts';
