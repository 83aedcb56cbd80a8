// Builds the command into dist/: the WebAssembly kernels, then one bundle per entry with chunks that load on demand.
// `--bench` also builds every file of benchmarks/ into dist/bench/; `--watch` rebuilds on change.
import { spawnSync } from 'node:child_process';
import { chmodSync, existsSync, mkdirSync, readdirSync } from 'node:fs';
import * as esbuild from 'esbuild';

const flags = new Set(process.argv.slice(2));
const KERNELS = 'src/plane/assembly/kernels.ts';

mkdirSync('dist', { recursive: true });
if (existsSync(KERNELS)) {
  const arguments_ = [KERNELS, '-o', 'dist/kernels.wasm', '-O3', '--noAssert', '--runtime', 'stub', '--enable', 'simd'];
  const { status } = spawnSync(process.execPath, ['node_modules/assemblyscript/bin/asc.js', ...arguments_], {
    stdio: 'inherit',
  });
  if (status !== 0) process.exit(status ?? 1);
}

const shared = {
  bundle: true,
  platform: 'node',
  target: 'node20.9',
  format: 'esm',
  splitting: true,
  minifySyntax: true,
  minifyWhitespace: true,
  legalComments: 'none',
  external: ['sharp', 'image-q'],
  banner: { js: "import{createRequire as __cr}from'node:module';const require=__cr(import.meta.url);" },
  logLevel: 'warning',
};
const command = {
  ...shared,
  entryPoints: { tonewright: 'src/cli/main.ts' },
  outdir: 'dist',
  chunkNames: 'part-[hash]',
};

if (flags.has('--watch')) {
  await (await esbuild.context({ ...command, logLevel: 'info' })).watch();
} else {
  await esbuild.build(command);
  chmodSync('dist/tonewright.js', 0o755);
  if (flags.has('--bench')) {
    const entryPoints = readdirSync('benchmarks')
      .filter((name) => name.endsWith('.ts'))
      .map((name) => `benchmarks/${name}`);
    await esbuild.build({ ...shared, entryPoints, outdir: 'dist/bench', chunkNames: 'part-[hash]' });
  }
}
