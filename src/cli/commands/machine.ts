import { AppError } from '../../errors.ts';
import type { Range } from '../../machine/index.ts';
import {
  askOfMachine,
  checkMachineAnswer,
  controlOfMachine,
  type KnownControl,
  listMachines,
  type MachineRecord,
  newMachine,
  saySettings,
  showMachine,
  splitOffset,
} from '../../tasks/index.ts';
import type { CommandContext, OptionValues, Outcome, Run } from '../command.ts';
import { askRest } from '../questions.ts';
import { alignColumns, formatNumber } from '../text.ts';

export const run: Run = async ([action, name], options, commandContext) => {
  if (action === 'new') return describeNew(options, commandContext);
  if (action === 'list' && name === undefined) return writeList(commandContext);
  if (action === 'show' && name !== undefined) {
    const record = showMachine(name, commandContext.shop);
    const { machine, from, path, found, twoWay } = record;
    return {
      json: {
        machine,
        from,
        path,
        found: found.map(({ machine: _, ...one }) => one),
        ...(twoWay ? { twoWay: twoWay.measured } : {}),
      },
      text: writeMachine(record),
    };
  }
  const found = [action, name].filter((word) => word !== undefined).join(' ');
  throw new AppError('option-invalid', `found "${found}", needed "list", "show NAME" or "new"`);
};

async function describeNew(options: OptionValues, { io, shop }: CommandContext): Promise<Outcome> {
  const isAsked = io.ask !== undefined;
  const answers = await askRest(options, {
    io,
    next: (known) => askOfMachine(known, shop, { isAsked }),
    check: checkMachineAnswer,
  });
  const { machine, path } = await newMachine(answers, { shop, force: options.force === true });
  const next = `tonewright chart dose --machine ${machine.name} --material NAME --out dose`;
  return {
    json: { machine, path, next },
    text: alignColumns([
      ['wrote', path],
      ['next', `${next}   (names: tonewright material list)`],
    ]),
  };
}

function writeList({ shop, warn }: CommandContext): Outcome {
  const { machines, notices } = listMachines(shop);
  for (const { text } of notices) warn(text);
  const json = machines.map(({ machine: { name, title, wavelengthNm, fieldMm }, spotDiameterUm, from, path }) => {
    return { name, title, wavelengthNm, spotDiameterUm, fieldMm, from, path };
  });
  const rows = json.map(({ name, title, spotDiameterUm, fieldMm, from }) => [
    name,
    title,
    `${formatNumber(spotDiameterUm, 3)} µm`,
    `${formatNumber(fieldMm[0])} × ${formatNumber(fieldMm[1])} mm`,
    from,
  ]);
  return { json: { machines: json }, text: alignColumns([['NAME', 'TITLE', 'SPOT', 'FIELD', 'FROM'], ...rows]) };
}

/** In the units of the control software, with the file that `--settings` takes. */
function writeFound({ material, settings, path }: MachineRecord['found'][number], control: KnownControl | undefined) {
  const typed = saySettings(settings, control);
  return [material, `${typed}, lines ${formatNumber(settings.lineSpacingMm)} mm apart`, path];
}

function writeMachine(record: MachineRecord): string {
  const { machine } = record;
  const { origins, defaults } = machine;
  const control = controlOfMachine(machine);
  const blocks: [string, string[][]][] = [
    [
      `Beam, lens and field (${origins.optics.kind})`,
      [
        ['wavelength', show(machine.wavelengthNm, 'nm')],
        ['beam', `${machine.emission}, M² ${formatNumber(machine.beamQualityM2)}`],
        ['beam diameter at the lens', show(machine.beamDiameterMm, 'mm')],
        ['focal length', show(machine.focalLengthMm, 'mm')],
        ...(machine.lensApertureMm === undefined ? [] : [['clear aperture', show(machine.lensApertureMm, 'mm')]]),
        [
          'spot diameter',
          `${formatNumber(record.spotDiameterUm, 3)} µm, ${machine.spotDiameterUm === undefined ? 'computed' : 'as in the file'}`,
        ],
        ['field', `${formatNumber(machine.fieldMm[0])} × ${formatNumber(machine.fieldMm[1])} mm`],
      ],
    ],
    [
      `Ranges (${origins.ranges.kind})`,
      [
        ['power', showRange(machine.powerW, 'W')],
        ['speed', showRange(machine.speedMmPerS, 'mm/s')],
        ...(machine.rateKHz ? [['pulse rate', showRange(machine.rateKHz, 'kHz')]] : []),
        ...(machine.pulseNs ? [['pulse duration', showRange(machine.pulseNs, 'ns')]] : []),
        ['power levels per dot', machine.levels === 2 ? '2: fires or not' : String(machine.levels)],
      ],
    ],
    ...(control
      ? [
          [
            'Control software',
            [
              ['power', control.power === '%' ? `in percent of ${formatNumber(control.fullPowerW)} W` : 'in W'],
              ['speed', `in ${control.speed}`],
              ...(machine.rateKHz
                ? [['pulses', control.rate === 'us' ? 'as a period in µs' : 'as a rate in kHz']]
                : []),
              ['burns', `${control.fires} pixels`],
              ['0, 0', control.origin],
              ['mirrors', control.mirrors],
            ],
          ] as [string, string[][]],
        ]
      : []),
    ...(machine.program ? [['Programs (ISO 6983)', listProgramRows(machine.program)] as [string, string[][]]] : []),
    [
      `Settings to start with (${origins.defaults.kind})`,
      [
        ['power', show(defaults.powerW, 'W')],
        ['speed', show(defaults.speedMmPerS, 'mm/s')],
        ...(defaults.rateKHz === undefined ? [] : [['pulse rate', show(defaults.rateKHz, 'kHz')]]),
        ...(defaults.pulseNs === undefined ? [] : [['pulse duration', show(defaults.pulseNs, 'ns')]]),
        ['passes', String(defaults.passes)],
        ['scan', defaults.scan],
      ],
    ],
    ...(record.found.length > 0
      ? [
          ['Settings that dose charts found', record.found.map((one) => writeFound(one, control))] as [
            string,
            string[][],
          ],
        ]
      : []),
    ...(record.twoWay
      ? [['Lines there and back (spot charts)', listOffsets(record.twoWay)] as [string, string[][]]]
      : []),
    [
      `Motion (${origins.motion.kind}): ${machine.motion.kind}`,
      [...record.motionRows.map(writeMotionRow), ...describeKnowledge(record)],
    ],
  ];
  const notes = Object.values(origins).map(({ note }) => `  ${note}`);
  const cautions = record.cautions.map(({ text, source }) => `  ${text}\n    [${source}]`);
  return [
    `${machine.title} (${machine.name})`,
    ...blocks.map(([title, rows]) => `${title}\n${alignColumns(rows, '  ')}`),
    `Where the numbers come from\n${[...new Set(notes)].join('\n')}`,
    `Cautions\n${cautions.join('\n')}`,
  ].join('\n\n');
}

function listProgramRows(words: NonNullable<MachineRecord['machine']['program']>): string[][] {
  const { blocksPerS, beamLagUs, backlashMm, turn } = words;
  return [
    ['places', `in ${words.units}, ${words.decimals} decimals`],
    ['feed', `F in ${words.units} per ${words.feedPer}`],
    ['power', `S${words.fullPower} is full power, in steps of ${words.powerStep ?? 1}`],
    ['beam', `${words.beam} lets it follow S, M5 keeps it off`],
    ['end', words.end],
    ['0, 0', words.zero === 'field' ? 'of the field' : 'of the piece, set by hand'],
    ...(blocksPerS === undefined ? [] : [['blocks', `${formatNumber(blocksPerS)} in a second`]]),
    ...(beamLagUs === undefined ? [] : [['beam lags', show(beamLagUs, 'µs')]]),
    ...(backlashMm === undefined ? [] : [['backlash', show(backlashMm, 'mm')]]),
    ...(turn ? [['rotary', `a whole turn is ${turn.axis}${formatNumber(turn.wordPerTurn)}`]] : []),
  ];
}

/** Offsets by speed, and where two of them tell it, what they come of. */
function listOffsets(record: NonNullable<MachineRecord['twoWay']>): string[][] {
  const range = (low: number, high: number) => `(95 %: ${low.toFixed(1)} … ${high.toFixed(1)})`;
  const parts = splitOffset(record);
  return [
    ...record.measured.map(({ speedMmPerS, offsetUm, lowUm, highUm, date }) => [
      show(speedMmPerS, 'mm/s'),
      `back lands ${offsetUm.toFixed(1)} µm to the right ${range(lowUm, highUm)}, ${date}`,
    ]),
    ...(parts
      ? [
          ['always', `${parts.fixedUm.value.toFixed(1)} µm ${range(parts.fixedUm.low, parts.fixedUm.high)}`],
          ['beam late', `${parts.delayUs.value.toFixed(1)} µs ${range(parts.delayUs.low, parts.delayUs.high)}`],
        ]
      : []),
  ];
}

function writeMotionRow({ label, values, unit }: MachineRecord['motionRows'][number]): string[] {
  return [label, values.map((value) => show(value, unit)).join(', ')];
}

/** What is done with bare places, and how well the motion's numbers are known. */
function describeKnowledge({ machine: { motion, motionUncertainty }, motionFactors }: MachineRecord): string[][] {
  const { bare } = motion;
  const known =
    motionUncertainty?.kind === 'fitted'
      ? `fitted on ${motionUncertainty.date} to ${motionUncertainty.readings} stopwatch readings`
      : `${Object.entries(motionFactors ?? {})
          .map(([name, factor]) => `${name} ×÷ ${factor}`)
          .join(', ')} (assumed)`;
  return [
    ['bare places', bare === undefined ? 'skipped (taken for granted)' : bare],
    ['known to', known],
  ];
}

function show(value: number, unit: string): string {
  return `${formatNumber(value)} ${unit}`;
}

function showRange({ min, max }: Range, unit: string): string {
  return `${formatNumber(min)} … ${formatNumber(max)} ${unit}`;
}
