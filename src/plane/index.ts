export * from './plane.ts';
