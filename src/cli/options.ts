export { numberOf, textOf } from '../options.ts';
