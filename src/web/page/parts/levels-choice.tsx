import type { MachineFacts } from '../../protocol.ts';
import { Select } from './parts.tsx';

interface LevelsChoiceProps {
  readonly machine: MachineFacts | undefined;
  /** Levels that the profile's chart had; none where dots fire or not, or there is no profile. */
  readonly learned: number | null | undefined;
  readonly value: number | undefined;
  /** Only what was measured may be asked for. */
  readonly isMeasuredOnly?: boolean;
  readonly note?: string;
  readonly onChange: (levels: number | undefined) => void;
}

/** Levels that are offered beside the machine's own, a count. Assumed: no steps are seen, and a chart shows each. */
const COMMON_LEVELS = 16;

/** Power per dot; nothing where the machine's beam fires or not. */
export function LevelsChoice({ machine, learned, value, isMeasuredOnly = false, note, onChange }: LevelsChoiceProps) {
  const most = machine?.levels ?? 2;
  if (most <= 2 && value === undefined) return null;
  const offered = isMeasuredOnly ? [learned ?? 0] : [learned ?? 0, COMMON_LEVELS, most, value ?? 0];
  const counts = [...new Set(offered)].filter((count) => count > 2 && (count <= most || count === value));
  if (counts.length === 0) return null;
  return (
    <Select
      label="Power of each dot"
      value={value === undefined ? '' : String(value)}
      {...(note === undefined ? {} : { note })}
      groups={[
        {
          label: '',
          choices: [
            { value: '', label: 'Full, or none' },
            ...counts
              .sort((a, b) => a - b)
              .map((count) => ({
                value: String(count),
                label: `${count} levels${count === learned ? ', measured' : ''}`,
              })),
          ],
        },
      ]}
      onChange={(text) => onChange(text === '' ? undefined : Number(text))}
    />
  );
}
