import type { BurnSettings } from '../optics/index.ts';

/** How the control software of a machine counts: sheets speak in its units, records and bitmaps never change. */
export interface ControlSoftware {
  readonly power: 'W' | '%';
  /** Mean power at the work at 100 %, W; the top of the machine's range when absent. */
  readonly fullPowerW?: number;
  readonly speed: 'mm/s' | 'mm/min';
  /** A frequency, or the time from pulse to pulse. */
  readonly rate: 'kHz' | 'us';
  /** Pixels of a bitmap that it burns. */
  readonly fires: 'black' | 'white';
  /** Where it has its 0, 0; from a corner both axes run into the field, from the centre x runs right and y up. */
  readonly origin: 'top-left' | 'top-right' | 'bottom-left' | 'bottom-right' | 'centre';
  /** Whether it burns bitmaps mirrored: left to right (`x`), top to bottom (`y`). */
  readonly mirrors: 'no' | 'x' | 'y';
}

/** Values that a control software can have, for questions, options and the page. */
export const CONTROL_CHOICES = {
  power: ['W', '%'],
  speed: ['mm/s', 'mm/min'],
  rate: ['kHz', 'us'],
  fires: ['black', 'white'],
  origin: ['top-left', 'top-right', 'bottom-left', 'bottom-right', 'centre'],
  mirrors: ['no', 'x', 'y'],
} as const;

/** What is known of the control software, with the power that it calls full; undefined where nothing is. */
export type KnownControl = ControlSoftware & { readonly fullPowerW: number };

export function controlOf({
  control,
  powerW,
}: {
  readonly control?: ControlSoftware;
  readonly powerW: { readonly min: number; readonly max: number };
}): KnownControl | undefined {
  return control && { ...control, fullPowerW: control.fullPowerW ?? powerW.max };
}

/** Percent of a whole. Exact: by definition. */
const PERCENT = 100;
/** Seconds in a minute. Exact: by definition. */
const MINUTE_S = 60;
/** A period in µs of a rate in kHz, and the reverse: µs · kHz. Exact: the SI prefixes. */
const US_KHZ = 1000;

/** A setting as it is typed: its number and unit, and what else it may be known as. */
export interface TypedSetting {
  readonly key: Exclude<keyof BurnSettings, 'scan'>;
  readonly label: string;
  readonly value: number;
  readonly unit: string;
  readonly aside?: string;
}

/** One setting in the units of the control software; in W, mm/s, kHz where nothing is known of it. */
export function typeSetting(
  key: TypedSetting['key'],
  value: number,
  control: KnownControl | undefined,
): Omit<TypedSetting, 'key'> {
  switch (key) {
    case 'powerW':
      return control?.power === '%'
        ? {
            label: 'Power',
            value: round((100 * value) / control.fullPowerW, 1),
            unit: '%',
            aside: `${round(value, 3)} W at the work`,
          }
        : { label: 'Power', value: round(value, 3), unit: 'W', aside: 'at the work' };
    case 'speedMmPerS':
      return control?.speed === 'mm/min'
        ? { label: 'Speed', value: round(value * MINUTE_S, 1), unit: 'mm/min', aside: `${round(value, 2)} mm/s` }
        : { label: 'Speed', value: round(value, 2), unit: 'mm/s' };
    case 'rateKHz':
      return control?.rate === 'us'
        ? { label: 'Pulse period', value: round(US_KHZ / value, 3), unit: 'µs', aside: `${round(value, 3)} kHz` }
        : { label: 'Pulse rate', value: round(value, 3), unit: 'kHz' };
    case 'pulseNs':
      return { label: 'Pulse duration', value: round(value, 2), unit: 'ns' };
    case 'passes':
      return { label: 'Passes', value, unit: '' };
  }
}

/**
 * A value as it is typed in the units of the control software, in the record's own: 45 (%) of 8 W is 3.6 (W). The
 * reverse of `typeSetting` without its rounding.
 */
export function readTyped(key: TypedSetting['key'], typed: number, control: KnownControl | undefined): number {
  if (key === 'powerW' && control?.power === '%') return (typed * control.fullPowerW) / PERCENT;
  if (key === 'speedMmPerS' && control?.speed === 'mm/min') return typed / MINUTE_S;
  if (key === 'rateKHz' && control?.rate === 'us') return US_KHZ / typed;
  return typed;
}

/** A setting rounded to what a person types of it: so many significant digits in the units of the control software. */
export function roundTyped(
  key: TypedSetting['key'],
  value: number,
  { control, digits }: { readonly control: KnownControl | undefined; readonly digits: number },
): number {
  // A unit is a factor or, of a period, its own reverse: what one is in it converts both ways.
  const one = readTyped(key, 1, control);
  const exact = key === 'rateKHz' && control?.rate === 'us' ? one / value : value / one;
  const typed = Number(exact.toPrecision(digits));
  // Twelve digits: what is typed is a round number, what it is in the record's unit may not be.
  return Number(readTyped(key, typed, control).toPrecision(12));
}

/** All settings of a burn in the order of typing; the scan is a choice and no number. */
export function typeSettings(settings: BurnSettings, control: KnownControl | undefined): readonly TypedSetting[] {
  return (['powerW', 'speedMmPerS', 'rateKHz', 'pulseNs', 'passes'] as const).flatMap((key) => {
    const value = settings[key];
    return value === undefined ? [] : [{ key, ...typeSetting(key, value, control) }];
  });
}

/** `45 % (3.6 W at the work)`. */
export function sayTyped({ value, unit, aside }: Omit<TypedSetting, 'key'>): string {
  const typed = unit === '' ? String(value) : `${value} ${unit}`;
  if (aside === undefined) return typed;
  return aside === 'at the work' ? `${typed} ${aside}` : `${typed} (${aside})`;
}

/** One setting as it is typed and nothing beside: `45 %`. */
export function saySetting(key: TypedSetting['key'], value: number, control: KnownControl | undefined): string {
  const { label, value: typed, unit } = typeSetting(key, value, control);
  return sayTyped({ label, value: typed, unit });
}

export interface FieldPlace {
  readonly xMm: number;
  readonly yMm: number;
}

/**
 * A place in the field in the coordinates of the control software.
 * @param place from the field's top left corner, mm; x right, y down
 */
export function placeInControl(
  { xMm, yMm }: FieldPlace,
  {
    control,
    fieldMm,
  }: { readonly control: Pick<ControlSoftware, 'origin'>; readonly fieldMm: readonly [number, number] },
): FieldPlace {
  const [width, height] = fieldMm;
  if (control.origin === 'centre') return { xMm: xMm - width / 2, yMm: height / 2 - yMm };
  return {
    xMm: control.origin.endsWith('right') ? width - xMm : xMm,
    yMm: control.origin.startsWith('bottom') ? height - yMm : yMm,
  };
}

/** What has to be switched in the control software, so that a bitmap whose black pixels fire burns as it lies here. */
export function listSwitches({ fires, mirrors }: Pick<ControlSoftware, 'fires' | 'mirrors'>): readonly string[] {
  return [
    ...(fires === 'white' ? ['invert the bitmap: black is to fire, and the software burns white'] : []),
    ...(mirrors === 'x' ? ['mirror it left to right: the machine burns bitmaps mirrored'] : []),
    ...(mirrors === 'y' ? ['mirror it top to bottom: the machine burns bitmaps upside down'] : []),
  ];
}

const round = (value: number, decimals: number) => Number(value.toFixed(decimals));
