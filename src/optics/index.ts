export * from './settings.ts';
