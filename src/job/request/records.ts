import { AppError } from '../../errors.ts';
import { type Machine, parseMachine } from '../../machine/index.ts';
import {
  findRefused,
  type Material,
  type Profile,
  parseMaterial,
  parseProfile,
  type RefusedMaterial,
  type Shop,
} from '../../material/index.ts';
import type { SizeMm } from '../../units.ts';

/** @throws AppError name-unknown, path-*, file-invalid */
export function readMachine(name: string, shop: Shop): Machine {
  const { json, path } = shop.read('machines', name);
  return parseMachine(json, path);
}

/** @throws AppError name-unknown, path-*, file-invalid */
export function readProfile(name: string, shop: Shop): Profile {
  const { json, path } = shop.read('profiles', name);
  return parseProfile(json, path);
}

/** @throws AppError material-refused */
export function refuseMaterial(text: string | undefined, refused: readonly RefusedMaterial[]): void {
  const found = text === undefined ? undefined : findRefused(text, refused);
  if (found) {
    throw new AppError('material-refused', `${text}: ${found.title} is never put under a laser. ${found.reason}`, {
      material: found.name,
      source: found.source,
    });
  }
}

export function refuseOversize(
  { widthMm, heightMm }: SizeMm,
  { name, fieldMm: [fieldWidth, fieldHeight] }: Machine,
): void {
  if (widthMm <= fieldWidth && heightMm <= fieldHeight) return;
  const missing = [
    ...(widthMm > fieldWidth ? [`${round(widthMm - fieldWidth)} mm in width`] : []),
    ...(heightMm > fieldHeight ? [`${round(heightMm - fieldHeight)} mm in height`] : []),
  ];
  throw new AppError(
    'size-exceeds-field',
    `found a size of ${widthMm} × ${heightMm} mm, but the field of ${name} is ${fieldWidth} × ${fieldHeight} mm; missing ${missing.join(' and ')}`,
    { widthMm, heightMm, fieldMm: [fieldWidth, fieldHeight] },
  );
}

/** By name, file, title or alias. */
export function findMaterial(asked: string | undefined, shop: Shop): Material | undefined {
  if (asked === undefined) return undefined;
  const wanted = asked.trim().toLowerCase();
  for (const { name } of shop.list('materials')) {
    const { json, path } = shop.read('materials', name);
    const material = parseMaterial(json, path);
    if ([material.name, material.title.toLowerCase(), ...material.aliases].includes(wanted)) return material;
  }
  const { json, path } = shop.read('materials', asked);
  return parseMaterial(json, path);
}

/** The same, or nothing where the shop has no record of it. @throws AppError file-invalid, path-unreadable */
export function tryMaterial(name: string, shop: Shop): Material | undefined {
  try {
    return findMaterial(name, shop);
  } catch (error) {
    if (error instanceof AppError && error.code === 'name-unknown') return undefined;
    throw error;
  }
}

/** Whether a material is one that is looked through; undefined where the shop has no record of it. */
export function isClearStock(name: string, shop: Shop): boolean | undefined {
  const material = name === '' ? undefined : tryMaterial(name, shop);
  return material && material.clear !== undefined;
}

export function tryReadMachine(name: string, shop: Shop): Machine | undefined {
  return shop.list('machines').some((found) => found.name === name) ? readMachine(name, shop) : undefined;
}

const round = (mm: number) => Math.round(mm * 100) / 100;
