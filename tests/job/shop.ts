import { openShop, parseRefused, readJson } from '../../src/material/index.ts';

/** The built-in examples, as the command line opens them without a shop folder. */
export const SHOP = openShop({ builtIn: ['shared/shop', 'shared'] });
export const REFUSED = parseRefused(readJson('shared/materials/never.json'), 'never.json');
