import { copyFileSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { runCli } from './run-cli.ts';

/*
 * What people mistype. Each message says what was found, what is needed, and what to type: an option, a value, a name,
 * or where to look.
 */

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-mistakes-'));
afterAll(() => rmSync(cwd, { recursive: true, force: true }));

beforeAll(() => {
  copyFileSync('images/photos/cat.png', join(cwd, 'cat.png'));
  writeFileSync(join(cwd, 'empty.jpg'), '');
  writeFileSync(join(cwd, 'text.jpg'), 'hello');
  writeFileSync(join(cwd, 'broken.json'), '{ not json');
  writeFileSync(join(cwd, 'list.csv'), 'fotto;size;profile\ncat.png;85,6x54;anodised-black\n');
  writeFileSync(join(cwd, 'list.xlsx'), Buffer.from([0x50, 0x4b, 3, 4, 0, 0, 0, 0]));
  mkdirSync(join(cwd, 'photos'));
});

const CAT = 'prepare cat.png --profile anodised-black --out out';
const CARD = `${CAT} --size card`;
const CHART = '--machine gantry-450 --direction darker --out c';

const MISTAKES: readonly (readonly [line: string, found: RegExp, needed: RegExp, type: RegExp])[] = [
  // Which command.
  ['prepair cat.png', /unknown command 'prepair'/, /Did you mean/, /prepare/],
  ['chart tones', /unknown command 'tones'/, /Did you mean/, /tone/],
  ['machine add', /unknown command 'add'/, /There are/, /machine list, machine show, machine new/],
  ['machine', /Usage: tonewright machine/, /Commands:/, /list[\s\S]*show[\s\S]*new/],
  ['profile compare anodised-black', /missing/, /argument/, /'other'/],
  // What belongs to a job.
  [CAT, /found no size/, /needed that of the piece/, /85\.6x54 or card \(--size\)/],
  ['prepare --profile anodised-black --size card --out out', /found no photo/, /needed its path/, /--help/],
  ['prepare cat.png --profile anodised-black --size card', /not specified/, /required option/, /--out <dir>/],
  ['prepare cat.png --size card --out out', /found neither a machine nor a profile/, /one of the two/, /\(--profile/],
  [
    'prepare cat.png --material birch-plywood --size card --out out',
    ...([/found neither a machine nor a profile/, /one of the two/, /--machine/] as const),
  ],
  // Sizes.
  [`${CAT} --size big`, /--size: found "big"/, /needed WIDTHxHEIGHT/, /85\.6x54/],
  [`${CAT} --size 85.6x`, /--size: found "85\.6x"/, /needed WIDTHxHEIGHT/, /85\.6x54/],
  [`${CAT} --size 0x54`, /--size: found "0"/, /length above 0/, /0\.5in/],
  [`${CAT} --size 85,6;54`, /found "85,6;54"/, /WIDTHxHEIGHT/, /⌀80/],
  [`${CAT} --size 9000x54`, /9000 × 54 mm/, /150 × 150 mm; missing 8850 mm/, /Choose a smaller size/],
  // Options by the words of other programs.
  [`${CARD} --dpi 600`, /unknown option '--dpi'/, /25\.4 divided by/, /--pitch.*--spacing/],
  [`${CARD} --invert`, /unknown option '--invert'/, /black fires/, /machine new --fires white/],
  [`${CARD} --brightness 10`, /'--brightness'/, /in stops/, /--brightness-ev/],
  [`${CARD} --repeat 2`, /'--repeat'/, /burned over itself/, /--passes/],
  [`${CARD} --dither on`, /'--dither'/, /way of making dots/, /--screen/],
  [`${CARD} --flip`, /'--flip'/, /left and right/i, /--mirror/],
  [`${CARD} --frequency 20`, /'--frequency'/, /pulse rate/, /--rate/],
  [`${CARD} --overwrite`, /'--overwrite'/, /existing results/i, /--force/],
  [`${CARD} --width 85`, /'--width'/, /one option/, /--size 85\.6x54/],
  [`${CARD} --gamma 1.2`, /'--gamma'/, /mid-tone/, /--midtone-l/],
  // Settings.
  [`${CARD} --passes 0`, /--passes: found "0"/, /whole number from 1 to 100/, /--help/],
  [`${CARD} --passes 2.5`, /found "2\.5"/, /whole number/, /--passes/],
  [`${CARD} --power 500`, /a power of 500 W/, /needed 0\.1 to 8 W/, /change the setting, or correct/],
  [`${CARD} --power 120%`, /--power: found "120"/, /to 100 %/, /--help/],
  [`${CARD} --power much`, /--power: found "much"/, /at least 0\.001 W/, /--help/],
  [`${CARD} --speed 10km/h`, /--speed: found "10km\/h"/, /mm\/s/, /--help/],
  [`${CARD} --rate 0us`, /--rate: found "0"/, /0\.001 µs/, /--help/],
  [`${CARD} --spacing 20`, /found 20 mm between lines/, /at most 0\.156 mm/, /"20um" was meant\?/],
  [`${CARD} --pitch fine`, /--pitch: found "fine"/, /length above 0/, /80um/],
  [`${CARD} --levels 1`, /--levels: found "1"/, /2 to 256/, /--help/],
  [`${CARD} --rotate 45`, /'45' is invalid/, /Allowed choices/, /0, 90, 180, 270/],
  // Picture.
  [`${CARD} --screen floyd`, /no screen "floyd"/, /there are/, /floyd-steinberg/],
  [`${CARD} --keep 2,3`, /--keep: found "2,3"/, /two shares from 0 to 1/, /0\.5,0\.4/],
  [`${CARD} --zoom 0.5`, /--zoom: found "0\.5"/, /from 1 to 20/, /--help/],
  [`${CARD} --turn 400`, /--turn: found "400"/, /-180 to 180 degrees/, /--help/],
  [`${CARD} --fit stretch`, /'stretch' is invalid/, /Allowed choices/, /cover, contain/],
  [`${CARD} --format jpg`, /'jpg' is invalid/, /Allowed choices/, /png, tiff, bmp/],
  [`${CARD} --backdrop white`, /'white' is invalid/, /Allowed choices/, /bare/],
  [`${CARD} --subject face`, /--subject: found "face"/, /auto, none, four shares/, /0\.3,0\.1,0\.4,0\.6/],
  [`${CARD} --weights 1,2`, /--weights: found "1,2"/, /three shares/, /0\.3,0\.6,0\.1/],
  // Files and names.
  ['prepare dog.png --profile anodised-black --size card --out out', /dog\.png: found nothing/, /a photo/, /path/],
  [
    'prepare photos --profile anodised-black --size card --out out',
    /found a folder/,
    /needed a photo/,
    /path of a file/,
  ],
  ['prepare empty.jpg --profile anodised-black --size card --out out', /found 0 bytes/, /needed a photo/, /export/],
  ['prepare text.jpg --profile anodised-black --size card --out out', /no known picture format/, /JPEG/, /Give a JPEG/],
  [
    'prepare cat.png --profile anodised-blak --size card --out out',
    /"anodised-blak"/,
    /did you mean/,
    /anodised-black/,
  ],
  ['prepare cat.png --profile broken.json --size card --out out', /line 1, column 3.*"not json"/, /JSON/, /Mend/],
  [
    'prepare cat.png --material PVC --machine gantry-450 --size card --out out',
    ...([/PVC/, /never put under a laser/, /choose another/] as const),
  ],
  ['prepare cat.png --material felt --machine gantry-450 --size card --out out', /"felt"/, /there are/, /slate/],
  ['prepare --again nothing --out again', /no burned job "nothing"/, /needed one of them/, /path of a ticket/],
  ['time cat.png --machine gantry-450', /picture in colour/, /two tones or greys/, /make the file again/],
  // Charts.
  [`chart dose ${CHART} --vary heat=1:2:3`, /found "heat"/, /one of power, speed/, /power=0\.5:3:6/],
  [`chart dose ${CHART} --vary power=1:20:4`, /found 13\.67 W/, /0\.2 to 10 W/, /--vary/],
  [`chart dose ${CHART} --vary power=1:2`, /found "1:2"/, /FROM:TO:HOW MANY/, /:log/],
  [`chart dose ${CHART} --vary rate=20:60:3`, /found pulse rate/, /a setting that gantry-450 has/, /--vary/],
  [`chart dose ${CHART} --vary passes=1.5,2`, /found 1\.5, 2/, /whole numbers/, /--vary/],
  [`chart dose ${CHART} --vary power=1:9:40 --vary speed=10:300:40`, /no room for 40 × 40/, /larger size/, /fewer/],
  [`chart verify ${CHART}`, /found no profile/, /the one that it is to verify/, /\(--profile\)/],
  [`chart tone ${CHART} --size 20x10`, /room for 0 patches/, /needed 89/, /choose a larger size/],
  [`chart tone ${CHART} --steps 2`, /--steps: found "2"/, /3 to 100/, /--help/],
  ['chart tone --machine gantry-450 --out c', /neither a material nor a direction/, /lighter or darker/, /--direction/],
  ['chart tone --direction darker --out c', /neither a machine nor a profile/, /needed/, /\(--machine, --profile\)/],
  // Readings.
  ['learn cat.png --out p.txt', /--out: found "p\.txt"/, /needed a name/, /\.json/],
  ['learn cat.png --out p.json --corners 1,2,3', /--corners: found "1,2,3"/, /eight numbers/, /x,y,x,y/],
  ['learn cat.png --out p.json --reference grey', /--reference: found "grey"/, /paper, scanner/, /50,1/],
  ['learn cat.png --out p.json --chart nowhere.json', /nowhere\.json: found nothing/, /JSON file/, /path/],
  ['learn cat.png --out p.json --columns power', /found no rows/, /needed both/, /--rows speed/],
  ['check cat.png --diameters A2', /--diameters: found "A2"/, /cells with µm/, /A2=31/],
  ['optics --machine gantry-45', /no machine "gantry-45"/, /did you mean/, /gantry-450/],
  // Orders, records and the rest.
  ['order list.csv --out o', /line 1: found the unknown column "fotto"/, /known are/, /photo/],
  ['order list.xlsx --out o', /spreadsheet’s own file/, /needed the table/, /CSV \(UTF-8\)/],
  ['order photos --out o', /found no size/, /needed one for the whole order/, /column "size"/],
  ['order nowhere --out o', /found nothing there/, /folder of photos or a CSV/, /path/],
  ['burned nowhere.ticket.json --count -1', /--count: found "-1"/, /whole number from 0/, /--help/],
  ['burned --month May', /--month: found "May"/, /needed a month/, /2026-11/],
  ['material show slat', /"slat"/, /did you mean/, /slate/],
  ['machine new --name x', /found no title/, /needed it for the record/, /\(--title\)/],
  ['simulate engrave cat.png --material-model birch --out a.jpg', /a\.jpg/, /needed a file/, /\.npy or \.png/],
  ['plate --grid 0x3 --pocket 85x54 --out pl', /--grid: found "0x3"/, /COLUMNSxROWS/, /4x3/],
  ['open --port 99999', /--port: found "99999"/, /0 to 65535/, /--help/],
];

test('are sixty and more, each another', () => {
  expect(new Set(MISTAKES.map(([line]) => line)).size).toBeGreaterThanOrEqual(60);
});

test.each(MISTAKES)('%s', async (line, found, needed, type) => {
  const { status, stdout, stderr } = await runCli(line.split(' '), { cwd });
  // A mistake is the person's or the input's, never called a bug, and nothing is printed as a result.
  expect([1, 2]).toContain(status);
  expect(stdout).toBe('');
  for (const part of [found, needed, type]) expect(stderr).toMatch(part);
});
