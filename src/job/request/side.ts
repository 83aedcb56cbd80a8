import { AppError } from '../../errors.ts';
import type { Machine } from '../../machine/index.ts';
import {
  type Beneath,
  listBeneath,
  lookThrough,
  type Material,
  type Profile,
  passesBeam,
  type Seen,
} from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import type { JobRequest, SideSpec } from './types.ts';

interface SideRecords {
  readonly machine: Pick<Machine, 'wavelengthNm'>;
  /** Absent where the shop has no record of it. */
  readonly material: Material | undefined;
  readonly learned: Profile | undefined;
}

interface ResolvedSide {
  /** As it looks from that side, over that ground, with the cautions of a beam that passes it. */
  readonly material: Material | undefined;
  readonly seen: Seen;
  readonly beneath?: Beneath;
  /** For the ticket; absent where nothing is said of sides: stock that nobody looks through. */
  readonly side?: SideSpec;
  readonly notices: readonly Notice[];
}

/** What of a request says how its piece is looked at. */
export type SideWish = Pick<JobRequest, 'seen' | 'beneath' | 'mirror'>;

/**
 * From which side a piece is looked at and what lies beneath it then: as asked for, else as the profile was learned,
 * else as the material usually is.
 * @throws AppError option-invalid for stock that nobody looks through, and for a ground over which no mark is known
 */
export function resolveSide(request: SideWish, { machine, material, learned }: SideRecords): ResolvedSide {
  const { clear } = material ?? {};
  if (material && !clear) refuseOpaque(request, material);
  const { wavelengthNm } = machine;
  const mirrored = request.mirror && clear ? 'through' : undefined;
  const seen = request.seen ?? mirrored ?? learned?.seen ?? (learned ? undefined : material?.seen) ?? 'face';
  const known = material ? listBeneath(material, wavelengthNm) : [];
  const beneath = request.beneath ?? learned?.beneath ?? (learned ? undefined : known[0]);
  if (material && !learned && beneath !== undefined && known.length > 0 && !known.includes(beneath)) {
    throw new AppError(
      'option-invalid',
      `beneath: found ${beneath}, but ${material.title} is known over ${known.join(' and ')} only at ${wavelengthNm} nm: over a ${beneath} ground its mark would hardly show; needed ${known.join(' or ')}, or a profile that was learned over it`,
      { beneath, known, options: ['beneath', 'profile'] },
    );
  }
  const over = beneath === undefined ? {} : { beneath };
  const passes = clear !== undefined && passesBeam(clear, wavelengthNm);
  const looked = material && lookThrough(material, { seen, ...over });
  return {
    material:
      looked &&
      (passes ? { ...looked, cautions: [...warnOfPassing(looked, wavelengthNm), ...looked.cautions] } : looked),
    seen,
    ...over,
    ...(clear || seen === 'through'
      ? { side: { seen, ...over, told: learned ? (learned.seen ?? 'face') : seen, passesBeam: passes } }
      : {}),
    notices: learned ? listMismatches(learned, { seen, ...over }) : [],
  };
}

/** @throws AppError option-invalid */
function refuseOpaque({ seen, beneath }: SideWish, { title }: Material): void {
  const asked = seen === 'through' ? 'seen' : beneath === undefined ? undefined : 'beneath';
  if (asked === undefined) return;
  throw new AppError(
    'option-invalid',
    `${asked}: found ${seen === 'through' ? 'through' : beneath}, but ${title} is not known to be clear: nothing shows through it; needed clear stock, or a record that says that it is looked through`,
    { options: [asked, 'material'] },
  );
}

/** A beam that passes burns what lies beneath, and comes back from it. */
function warnOfPassing({ title, clear }: Material, wavelengthNm: number): Material['cautions'] {
  return [
    {
      text: `${title}: most of a beam of ${wavelengthNm} nm passes a few millimetres of it and reaches what lies beneath.`,
      source: clear!.source,
    },
    {
      text: 'Lay the piece on spacers, well above a matt ground that neither burns nor reflects, never on bare metal: a ground that is near or bright marks the piece from behind and throws the beam back. What it is looked at over goes behind it after the burn.',
      source: 'commonPractice',
    },
  ];
}

/** In what the job is looked at otherwise than its profile was. */
function listMismatches(
  { name: profile, seen: through, beneath: learnedOver }: Profile,
  { seen, beneath }: { readonly seen: Seen; readonly beneath?: Beneath },
): readonly Notice[] {
  const learned = through ?? 'face';
  return [
    ...(seen === learned ? [] : [notice('side-differs', { profile, learned, seen })]),
    ...(beneath === undefined || learnedOver === undefined || beneath === learnedOver
      ? []
      : [notice('beneath-differs', { profile, learned: learnedOver, beneath })]),
  ];
}

/** How the piece is looked at, and what goes where, in sentences. */
export function saySide({ seen, beneath, told, passesBeam: passes }: SideSpec): string {
  const from =
    seen === 'through'
      ? 'Looked at through the stock: the face that is burned is its back, so lay that towards the beam.'
      : 'Looked at where it is burned: lay that face towards the beam.';
  const ground =
    beneath === undefined
      ? ''
      : ` Over a ${beneath} ground${passes ? ', which goes behind it after the burn: the beam would reach it' : ''}.`;
  const tones =
    told === seen
      ? seen === 'through'
        ? ' Tones and proof are as they show through.'
        : ''
      : ` Tones and proof are those ${told === 'face' ? 'of the burned face' : 'that show through the stock'}, since the profile was learned there.`;
  return `${from}${tones}${ground}`;
}
