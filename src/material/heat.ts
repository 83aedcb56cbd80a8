import type { Profile } from './types.ts';

/** Whether a chart told that there is heat: anything less changes nothing. */
export const knowsHeat = ({ heat }: Pick<Profile, 'heat'>): boolean => heat !== undefined && heat.total[1] > 0;
