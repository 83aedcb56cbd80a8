import {
  chmodSync,
  existsSync,
  linkSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, test } from 'vitest';
import type { AppError } from '../../src/errors.ts';
import {
  findUnreachable,
  placeNew,
  readInput,
  refuseResults,
  rememberInput,
  rememberInputs,
  removeDeadParts,
  sha256,
  writeFilesAtomic,
} from '../../src/plane/index.ts';

const root = mkdtempSync(join(tmpdir(), 'tonewright-files-'));
afterAll(() => rmSync(root, { recursive: true }));

let folder = '';
let count = 0;
beforeEach(() => {
  folder = join(root, String(count++));
  mkdirSync(folder);
});

const failure = (attempt: Promise<unknown>) =>
  attempt.then(
    () => {
      throw new Error('it was accepted');
    },
    (error: AppError) => error,
  );

test('SHA-256 of "abc" is the one of FIPS 180-4 (from memory)', () => {
  expect(sha256('abc')).toBe('ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad');
  expect(sha256(Buffer.from('abc'))).toBe(sha256('abc'));
});

describe('writing files as one', () => {
  test('makes the folders, writes all, leaves nothing else', async () => {
    const deep = join(folder, 'a', 'b');
    await writeFilesAtomic([
      { path: join(deep, 'one'), bytes: Buffer.from([1, 2]) },
      { path: join(deep, 'two'), bytes: 'text' },
    ]);
    expect(readdirSync(deep).sort()).toEqual(['one', 'two']);
    expect([readFileSync(join(deep, 'one')), readFileSync(join(deep, 'two'), 'utf8')]).toEqual([
      Buffer.from([1, 2]),
      'text',
    ]);
  });

  test('refuses before writing anything when a result is there', async () => {
    writeFileSync(join(folder, 'two'), 'old');
    const error = await failure(
      writeFilesAtomic([
        { path: join(folder, 'one'), bytes: 'new' },
        { path: join(folder, 'two'), bytes: 'new' },
      ]),
    );
    expect(error).toMatchObject({ code: 'result-exists', details: { paths: [join(folder, 'two')] } });
    expect(readdirSync(folder)).toEqual(['two']);
    expect(readFileSync(join(folder, 'two'), 'utf8')).toBe('old');
  });

  test('replaces with force', async () => {
    writeFileSync(join(folder, 'two'), 'old');
    await writeFilesAtomic([{ path: join(folder, 'two'), bytes: 'new' }], { force: true });
    expect(readdirSync(folder)).toEqual(['two']);
    expect(readFileSync(join(folder, 'two'), 'utf8')).toBe('new');
  });

  test('takes everything back when one file cannot be written', async () => {
    writeFileSync(join(folder, 'file'), 'x');
    const error = await failure(
      writeFilesAtomic([
        { path: join(folder, 'made', 'deep', 'one'), bytes: 'new' },
        { path: join(folder, 'file', 'two'), bytes: 'new' },
      ]),
    );
    expect(error.code).toBe('path-unwritable');
    expect(error.message).toContain('a part of the path is a file, not a folder');
    expect(readdirSync(folder)).toEqual(['file']);
  });

  test('takes everything back when a folder is in the way of the last one', async () => {
    mkdirSync(join(folder, 'two'));
    const error = await failure(
      writeFilesAtomic(
        [
          { path: join(folder, 'one'), bytes: 'new' },
          { path: join(folder, 'two'), bytes: 'new' },
        ],
        { force: true },
      ),
    );
    expect(error.code).toBe('path-unwritable');
    expect(readdirSync(folder)).toEqual(['two']);
  });

  test('says when there is no right to write', async () => {
    const locked = join(folder, 'locked');
    mkdirSync(locked);
    chmodSync(locked, 0o500);
    const attempt = writeFilesAtomic([{ path: join(locked, 'one'), bytes: 'new' }]);
    // The superuser may write all the same.
    if (process.getuid?.() === 0) {
      await attempt;
      expect(existsSync(join(locked, 'one'))).toBe(true);
      return;
    }
    expect(await failure(attempt)).toMatchObject({ code: 'path-unwritable', details: { code: 'EACCES' } });
    expect(readdirSync(locked)).toEqual([]);
  });
});

describe('what a run was given', () => {
  const write = (path: string) => writeFilesAtomic([{ path, bytes: 'new' }], { force: true });
  const give = () => {
    const photo = join(folder, 'photo.png');
    writeFileSync(photo, 'photo');
    return photo;
  };

  const linkTo = (target: string, path: string, make: (target: string, path: string) => void) => {
    make(target, path);
    return path;
  };
  test.each<[string, (photo: string) => string]>([
    ['its own name', (photo) => photo],
    ['a symbolic link', (photo) => linkTo(photo, join(folder, 'soft.png'), symlinkSync)],
    ['a hard link', (photo) => linkTo(photo, join(folder, 'hard.png'), linkSync)],
    ['a linked folder', () => join(linkTo(folder, join(root, `to-${count}`), symlinkSync), 'photo.png')],
  ])('is never written over by %s, with force or without', async (_, lead) => {
    const photo = give();
    const path = lead(photo);
    await rememberInputs(async () => {
      await readInput(photo, { kind: 'picture' });
      const attempts = [
        () => write(path),
        () => writeFilesAtomic([{ path, bytes: 'new' }]),
        () => refuseResults([path]),
      ];
      for (const attempt of attempts) {
        const error = await failure(attempt());
        expect(error.code).toBe('result-is-input');
        expect(`${error.message} ${error.hint}`).not.toContain('--force');
      }
    });
    expect(readFileSync(photo, 'utf8')).toBe('photo');
    expect(readdirSync(folder).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('is known before it is read, where it is told', async () => {
    const photo = give();
    const error = await rememberInputs(async () => {
      rememberInput(photo);
      rememberInput(join(folder, 'not there'));
      return failure(write(photo));
    });
    expect(error.code).toBe('result-is-input');
  });

  test('does not hold beyond the run, nor for what the run has written, nor for records of its own', async () => {
    const photo = give();
    await rememberInputs(() => readInput(photo, { kind: 'picture' }));
    await write(photo);
    await rememberInputs(async () => {
      await write(photo);
      await readInput(photo, { kind: 'picture' });
      await write(photo);
    });
    await rememberInputs(async () => {
      await readInput(photo, { kind: 'picture' });
      await writeFilesAtomic([{ path: photo, bytes: 'kept' }], { force: true, isOwnRecord: true });
    });
    expect(readFileSync(photo, 'utf8')).toBe('kept');
  });
});

describe('a place without a result', () => {
  test('is had by one of several that write at once, whole, and the others are told', async () => {
    for (let round = 0; round < 20; round++) {
      const at = (name: string) => join(folder, `${round}-${name}`);
      const attempts = ['a', 'b', 'c'].map((who) =>
        writeFilesAtomic([
          { path: at('one'), bytes: who },
          { path: at('two'), bytes: who },
        ]).then(
          () => who,
          (error: AppError) => error,
        ),
      );
      const ends = await Promise.all(attempts);
      const winners = ends.filter((end) => typeof end === 'string');
      expect(winners.length).toBe(1);
      for (const end of ends) if (typeof end !== 'string') expect(end.code).toBe('result-exists');
      for (const name of ['one', 'two']) expect(readFileSync(at(name), 'utf8')).toBe(winners[0]);
    }
    expect(readdirSync(folder).length).toBe(40);
  });

  test.each(['EPERM', 'ENOTSUP', 'ENOSYS'])(
    'is taken where links are not to be had (%s), and only once',
    async (code) => {
      const [from, to] = [join(folder, 'from'), join(folder, 'to')];
      const noLinks = async () => {
        throw Object.assign(new Error('no links'), { code });
      };
      writeFileSync(from, 'first');
      await placeNew(from, to, noLinks);
      expect([readFileSync(to, 'utf8'), existsSync(from)]).toEqual(['first', false]);
      writeFileSync(from, 'second');
      expect((await failure(placeNew(from, to, noLinks))).code).toBe('result-exists');
      expect(readFileSync(to, 'utf8')).toBe('first');
    },
  );
});

describe('replacing a result', () => {
  const set = (text: string) => ['bitmap', 'ticket'].map((name) => ({ path: join(folder, name), bytes: text }));
  const read = () =>
    Object.fromEntries(readdirSync(folder).map((name) => [name, readFileSync(join(folder, name), 'utf8')]));

  test('takes away what the new one has not', async () => {
    await writeFilesAtomic([...set('old'), { path: join(folder, 'strip'), bytes: 'old' }]);
    await writeFilesAtomic(set('new'), { force: true, outdated: [join(folder, 'strip'), join(folder, 'never')] });
    expect(read()).toEqual({ bitmap: 'new', ticket: 'new' });
  });

  test('is taken back whole when a file cannot be written', async () => {
    await writeFilesAtomic(set('old'));
    // Longer than a name may be: everything before it has been done.
    const long = { path: join(folder, 'n'.repeat(300)), bytes: 'new' };
    const error = await failure(writeFilesAtomic([...set('new'), long], { force: true }));
    expect(error.details.code).toBe('ENAMETOOLONG');
    expect(read()).toEqual({ bitmap: 'old', ticket: 'old' });
  });
});

describe('parts', () => {
  const partsOf = async () => {
    // As a write leaves them when it is ended: with this computer's mark and a process that is no more.
    let seen = '';
    const watch = setInterval(() => {
      seen ||= readdirSync(folder).find((file) => file.endsWith('.part')) ?? '';
    }, 0);
    while (seen === '')
      await writeFilesAtomic([{ path: join(folder, 'big'), bytes: Buffer.alloc(1 << 22) }], { force: true });
    clearInterval(watch);
    return seen;
  };

  test('of a process that is gone are swept, those of one at work and of another computer are not before an hour', async () => {
    const part = await partsOf();
    const [, computer, rest] = /^\.([0-9a-f]{4})([0-9a-f]{8})-\d+-\d+\.part$/.exec(part)!;
    const other = computer === '0000' ? '0001' : '0000';
    const gone = 2 ** 22 + 7;
    const files = {
      dead: `.${computer}${rest}-${gone}-0.part`,
      alive: `.${computer}${rest}-${process.pid}-0.part`,
      elsewhere: `.${other}${rest}-${gone}-0.part`,
      old: `.${other}${rest}-${gone}-1.part`,
      foreign: '.cat.part',
    };
    for (const file of Object.values(files)) writeFileSync(join(folder, file), 'x');
    utimesSync(join(folder, files.old), new Date(Date.now() - 2 * 3_600_000), new Date(Date.now() - 2 * 3_600_000));
    await removeDeadParts(folder);
    const left = readdirSync(folder);
    expect(
      Object.entries(files)
        .filter(([, file]) => left.includes(file))
        .map(([what]) => what),
    ).toEqual(['alive', 'elsewhere', 'foreign']);
    expect(statSync(join(folder, 'big')).size).toBe(1 << 22);
  });
});

test.each([
  ['C:\\shop\\aux.png', 'aux.png'],
  ['C:\\shop\\Con\\cat.png', 'Con'],
  ['C:/shop/card./cat.png', 'card.'],
  ['\\\\server\\share\\LPT1 \\x', 'LPT1 '],
  ['C:\\shop\\com\u00B2.txt', 'com\u00B2.txt'],
  ['C:\\shop\\console\\auxiliary.png', undefined],
  ['C:\\', undefined],
])('on Windows %s cannot be reached by other programs because of %j', (path, part) => {
  expect(findUnreachable(path, 'win32')).toBe(part);
  expect(findUnreachable(path, 'linux')).toBeUndefined();
});
