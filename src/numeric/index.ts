export * from './isotonic.ts';
export * from './least-squares.ts';
export * from './linear.ts';
export * from './matrix3.ts';
export * from './pchip.ts';
export * from './random.ts';
export * from './statistics.ts';
export * from './student.ts';
