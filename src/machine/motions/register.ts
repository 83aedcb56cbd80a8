import type { Motion } from '../types.ts';
import { GALVO } from './galvo.ts';
import { GANTRY } from './gantry.ts';
import type { MotionRecord } from './motion.ts';

/** All kinds of motion, by the name that a machine's file has. */
export const MOTIONS: Readonly<Record<Motion['kind'], MotionRecord>> = { galvo: GALVO, gantry: GANTRY };

/** Of a motion's kind. */
export function motionRecord({ kind }: Motion): MotionRecord {
  return MOTIONS[kind];
}
