// Builds the command into dist/: the WebAssembly kernels, then one bundle per entry with chunks that load on demand.
// `--bench` also builds every file of benchmarks/ into dist/bench/; `--watch` rebuilds on change; `--when-able` leaves dist/
// as it is where the build's tools are not installed.
import { spawnSync } from 'node:child_process';
import {
  chmodSync,
  copyFileSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { writeNotices } from './third-party.js';

const flags = new Set(process.argv.slice(2));
const ASSEMBLER = 'node_modules/assemblyscript';
const esbuild = await import('esbuild').catch(() => undefined);
if (esbuild === undefined || !existsSync(ASSEMBLER)) {
  const there = existsSync('dist/tonewright.cjs');
  console.error(
    `Tonewright is not built: its tools (esbuild, assemblyscript) are not installed. ${
      there ? 'dist/ stays as it is.' : 'To build it: npm ci, then npm run build.'
    }`,
  );
  process.exit(flags.has('--when-able') ? 0 : 1);
}
const KERNELS = 'src/plane/assembly/kernels.ts';

mkdirSync('dist', { recursive: true });
if (existsSync(KERNELS)) {
  const arguments_ = [
    KERNELS,
    '-o',
    'dist/kernels.wasm.new',
    '-O3',
    '--noAssert',
    '--runtime',
    'stub',
    '--enable',
    'simd',
  ];
  const { status } = spawnSync(process.execPath, [`${ASSEMBLER}/bin/asc.js`, ...arguments_], {
    stdio: 'inherit',
  });
  if (status !== 0) process.exit(status ?? 1);
  renameSync('dist/kernels.wasm.new', 'dist/kernels.wasm');
}

// CommonJS, because Node loads it faster than ES modules; and what the command line loads on demand (a command's code)
// becomes a file of its own, because start-up is a fixed cost of every job and of every --help.
const onDemand = {
  name: 'on-demand',
  setup(build) {
    build.onResolve({ filter: /^\.\// }, ({ kind, importer, path }) =>
      kind === 'dynamic-import' && importer.includes('cli')
        ? { path: `./${basename(path, '.ts')}.cjs`, external: true }
        : undefined,
    );
  },
};
// The queue's client, one file that is loaded with --queue and never else.
const QUEUE_CLIENT = 'queue-client';
const queueOnDemand = {
  name: 'queue-on-demand',
  setup(build) {
    build.onResolve({ filter: /^(bullmq|ioredis)$/ }, ({ kind }) =>
      kind === 'dynamic-import' ? { path: `./${QUEUE_CLIENT}.cjs`, external: true } : undefined,
    );
  },
};
// What commander and sharp take from Node for what is never asked of them here, or seldom; loading it costs 5 ms a start.
const seldom = {
  name: 'seldom-used',
  setup(build) {
    build.onResolve({ filter: /^(node:)?child_process$/ }, ({ importer }) =>
      /node_modules.(commander|detect-libc|sharp)/.test(importer)
        ? { path: 'child_process', namespace: 'seldom' }
        : undefined,
    );
    build.onLoad({ filter: /.*/, namespace: 'seldom' }, () => ({
      contents: `for (const name of ['exec', 'execSync', 'spawn', 'spawnSync'])
        exports[name] = (...given) => require('node:child_process')[name](...given);`,
    }));
  },
};
const shared = {
  bundle: true,
  platform: 'node',
  target: 'node20.9',
  format: 'cjs',
  outExtension: { '.js': '.cjs' },
  minifySyntax: true,
  minifyWhitespace: true,
  legalComments: 'none',
  external: ['sharp', 'image-q', 'piscina', 'bullmq', 'ioredis', 'libheif-js'],
  define: { 'import.meta.url': 'importMetaUrl' },
  banner: { js: "const importMetaUrl=require('node:url').pathToFileURL(__filename).href;" },
  logLevel: 'warning',
};
// The benchmarks wait at top level, which CommonJS cannot.
const benchmark = {
  ...shared,
  format: 'esm',
  outExtension: { '.js': '.js' },
  splitting: true,
  define: {},
  banner: { js: "import{createRequire as __cr}from'node:module';const require=__cr(import.meta.url);" },
  chunkNames: 'part-[hash]',
  external: [...shared.external, 'playwright-core', 'esbuild'],
};
const commands = readdirSync('src/cli/commands').filter(
  (name) => name.endsWith('.ts') && name !== 'index.ts' && !name.endsWith('.record.ts'),
);
const command = {
  ...shared,
  entryPoints: [
    { in: 'src/cli/main.ts', out: 'tonewright' },
    { in: 'src/cli/shop.ts', out: 'shop' },
    { in: 'src/plane/decode-child.ts', out: 'decode-child' },
    { in: 'src/batch/piece-thread.ts', out: 'piece-thread' },
    { in: 'src/tasks/search-thread.ts', out: 'search-thread' },
    ...commands.map((name) => ({ in: `src/cli/commands/${name}`, out: basename(name, '.ts') })),
  ],
  plugins: [onDemand, queueOnDemand, seldom],
  supported: { 'dynamic-import': false },
  outdir: 'dist',
};

// The page's server and its worker, each one file beside the commands: `open` starts the first, which starts the second.
const server = {
  ...shared,
  entryPoints: [
    { in: 'src/web/index.ts', out: 'web' },
    { in: 'src/web/worker.ts', out: 'web-worker' },
  ],
  plugins: [queueOnDemand],
  outdir: 'dist',
};
const queueClient = {
  ...shared,
  stdin: {
    contents: "export { Queue, Worker } from 'bullmq'; export { Redis } from 'ioredis';",
    resolveDir: '.',
    sourcefile: `${QUEUE_CLIENT}.js`,
  },
  // Beside Redis the client knows other servers and tracers, and machine code that packs faster: it does without.
  external: ['bullmq-otel', 'msgpackr-extract', 'pg', 'redis'],
  outfile: `dist/${QUEUE_CLIENT}.cjs`,
  outExtension: {},
};
// The image library's own code in one file: forty small ones cost 15 ms to find and read. Its machine code stays where it is.
const imageLibrary = {
  ...shared,
  entryPoints: { 'image-library': 'node_modules/sharp/dist/index.cjs' },
  external: [],
  define: {},
  banner: { js: 'const requireBuilt=require;' },
  plugins: [
    seldom,
    {
      name: 'machine-code',
      setup(build) {
        build.onResolve({ filter: /^@img\// }, ({ path }) => ({ path, external: true }));
        // Machine code that somebody compiled for himself is named at run time; from this file it is not found.
        build.onLoad({ filter: /sharp\.cjs$/ }, ({ path }) => ({
          contents: readFileSync(path, 'utf8').replaceAll('require(`../src', 'requireBuilt(`../src'),
        }));
      },
    },
  ],
  outdir: 'dist',
};
// In the browser there is no Node. The page takes only pure functions from the folders below; what they import beside is dropped.
const noNode = {
  name: 'no-node',
  setup(build) {
    build.onResolve({ filter: /^node:/ }, ({ path }) => ({ path, external: true, sideEffects: false }));
    build.onResolve({ filter: /^\..*\.ts$/ }, ({ path, resolveDir }) => ({
      path: join(resolveDir, path),
      sideEffects: resolveDir.includes(join('src', 'web')),
    }));
  },
};
const FONT = 'node_modules/@fontsource-variable/atkinson-hyperlegible-next';
const page = {
  bundle: true,
  platform: 'browser',
  target: 'es2022',
  format: 'esm',
  minify: true,
  legalComments: 'none',
  jsx: 'automatic',
  jsxImportSource: 'preact',
  entryPoints: ['src/web/page/page.tsx', 'src/web/page/page.css'],
  external: ['*.woff2'],
  plugins: [noNode],
  outdir: 'dist/page',
  logLevel: 'warning',
};
// What other programs import: one file for Node, beside it the declarations that `npm run api` has made of its sources.
const library = {
  ...shared,
  format: 'esm',
  outExtension: {},
  entryPoints: { library: 'src/library/index.ts' },
  define: {},
  banner: { js: "import{createRequire as __cr}from'node:module';const require=__cr(import.meta.url);" },
  plugins: [seldom],
  outdir: 'dist',
};
/** A program that runs meanwhile, such as an order that opens a thread, finds the old file or the new one, never half of it. */
function placeWhole(path, contents) {
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(`${path}.new`, contents);
  renameSync(`${path}.new`, path);
}
/** What an earlier build has made and this one has not would be packed along. */
function removeOlder(metafiles) {
  const made = new Set(metafiles.flatMap(({ outputs }) => Object.keys(outputs).map((path) => basename(path))));
  for (const name of readdirSync('dist')) if (name.endsWith('.cjs') && !made.has(name)) rmSync(join('dist', name));
}

// What shapes the letters of captions, loaded by the jobs that have one alone.
const fontLibrary = {
  ...shared,
  stdin: { contents: "exports.fontkit = require('fontkit'); exports.bidi = require('bidi-js');", resolveDir: '.' },
  outfile: 'dist/font-library.cjs',
  define: {},
  banner: {},
};
delete fontLibrary.outExtension;
// Fonts of captions: the files that src/caption names, each beside its licence.
const CAPTION_FONTS = ['noto-sans', 'eb-garamond', 'dancing-script', 'noto-sans-hebrew', 'noto-sans-arabic'].map(
  (name) => `node_modules/@fontsource/${name}`,
);
function copyFonts() {
  mkdirSync('dist/fonts', { recursive: true });
  const families = JSON.parse(readFileSync('src/caption/font-files.json', 'utf8'));
  for (const name of Object.values(families).flatMap(({ files }) => files)) {
    const folder = CAPTION_FONTS.findLast((path) => name.startsWith(`${basename(path)}-`));
    copyFileSync(`${folder}/files/${name}-500-normal.woff2`, `dist/fonts/${name}.woff2`);
    copyFileSync(`${folder}/LICENSE`, `dist/fonts/${basename(folder)}.license`);
  }
}
function copyPage() {
  mkdirSync('dist/page', { recursive: true });
  copyFileSync('src/web/page/index.html', 'dist/page/index.html');
  copyFileSync('src/web/page/icon.svg', 'dist/page/icon.svg');
  copyFileSync('src/web/page/manifest.webmanifest', 'dist/page/manifest.webmanifest');
  copyFileSync(`${FONT}/files/atkinson-hyperlegible-next-latin-wght-normal.woff2`, 'dist/page/text.woff2');
  copyFileSync(`${FONT}/LICENSE`, 'dist/page/text.woff2.license');
}

if (flags.has('--watch')) {
  copyPage();
  copyFonts();
  copyFileSync('packaging/library.d.ts', 'dist/library.d.ts');
  for (const part of [server, page, imageLibrary, queueClient, fontLibrary, library])
    await (await esbuild.context({ ...part, logLevel: 'info' })).watch();
  await (await esbuild.context({ ...command, logLevel: 'info' })).watch();
} else {
  copyPage();
  copyFonts();
  copyFileSync('packaging/library.d.ts', 'dist/library.d.ts');
  const built = await Promise.all(
    [command, server, page, imageLibrary, queueClient, fontLibrary, library].map((part) =>
      esbuild.build({ ...part, metafile: true, write: false }),
    ),
  );
  for (const { path, contents } of built.flatMap(({ outputFiles }) => outputFiles)) placeWhole(path, contents);
  const metafiles = built.map(({ metafile }) => metafile);
  removeOlder(metafiles);
  writeFileSync('dist/THIRD-PARTY-NOTICES.txt', writeNotices(metafiles, [ASSEMBLER, FONT, ...CAPTION_FONTS]));
  chmodSync('dist/tonewright.cjs', 0o755);
  if (flags.has('--bench')) {
    const entryPoints = readdirSync('benchmarks')
      .filter((name) => name.endsWith('.ts'))
      .map((name) => ({ in: `benchmarks/${name}`, out: basename(name, '.ts') }));
    for (const name of ['make-portable', 'make-release']) entryPoints.push({ in: `packaging/${name}.ts`, out: name });
    await esbuild.build({ ...benchmark, entryPoints, outdir: 'dist/bench' });
  }
}
