// What the start file of a portable folder runs: opens the page on a shop folder that can be written.
import { accessSync, constants, existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { homedir } from 'node:os';
import { dirname, join } from 'node:path';

/** The portable folder: this file lies in `program/dist` of it. */
const PORTABLE = dirname(dirname(__dirname));

/** Whether files can be made in a folder; asked by making one, since rights alone do not tell on Windows. */
function canWrite(folder: string): boolean {
  const probe = join(folder, `.probe-${process.pid}`);
  try {
    writeFileSync(probe, '', { flag: 'wx' });
    rmSync(probe);
    return true;
  } catch {
    return false;
  }
}

/**
 * `shop` beside the start file, so that it travels with the folder on a stick; where nothing can be written there, `Tonewright`
 * in the user's documents, or in the home where there are none.
 */
function findShop(): string {
  const beside = join(PORTABLE, 'shop');
  if (canWrite(existsSync(beside) ? beside : PORTABLE)) return beside;
  const documents = join(homedir(), 'Documents');
  try {
    accessSync(documents, constants.W_OK);
    return join(documents, 'Tonewright');
  } catch {
    return join(homedir(), 'Tonewright');
  }
}

const given = process.argv.slice(2);
const asksOfProgram = ['--help', '-h', '--version', '-V'].includes(given[0] ?? '');
if (given.length === 0 || (given[0]!.startsWith('-') && !asksOfProgram)) {
  const shop = process.env.TONEWRIGHT_SHOP || findShop();
  mkdirSync(shop, { recursive: true });
  process.argv.splice(2, given.length, 'open', '--shop', shop, ...given);
}
require('./tonewright.cjs');
