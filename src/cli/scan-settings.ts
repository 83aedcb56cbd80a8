import type { ScanSettings } from '../tasks/index.ts';
import type { OptionValues } from './command.ts';
import { numberOf, textOf } from './options.ts';

/** Speed, passes and scan direction as given, absent where they are not. @throws AppError option-invalid */
export function readScanSettings(options: OptionValues): ScanSettings {
  const given = {
    speedMmPerS: numberOf(options, 'speed', { min: 0.001, unit: 'mm/s' }),
    passes: numberOf(options, 'passes', { min: 1, whole: true }),
    scan: textOf(options, 'scan'),
  };
  return Object.fromEntries(Object.entries(given).filter(([, value]) => value !== undefined));
}
