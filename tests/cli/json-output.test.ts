import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { Ajv, type AnySchemaObject } from 'ajv';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { COMMANDS } from '../../src/cli/commands/index.ts';
import { startPageServer } from '../web/page-server.ts';
import { JSON_RUNS, readSchema, runAll } from './json-runs.ts';
import { runCli } from './run-cli.ts';

/*
 * shared/json-output.schema.json says what each command prints with --json. Every command that ends by itself is run
 * here on a small job, and what it prints is held against its definition.
 */

const cwd = mkdtempSync(join(tmpdir(), 'tonewright-json-'));
const schema = readSchema();
const ajv = new Ajv({ strict: true, allowUnionTypes: true, allErrors: true }).addSchema(schema, 'output');
const nameOf = (command: string) => command.replaceAll(' ', '-');
const validate = (command: string, json: unknown) => {
  const check = ajv.getSchema(`output#/$defs/${nameOf(command)}`)!;
  return { valid: check(json), errors: check.errors ?? [] };
};
/** Runs a queue until it is stopped, and is stopped by hand; the whole loop, which prints what the others do. */
const NOT_RUN = ['worker', 'demo', 'open'];

interface Definition {
  readonly $ref?: string;
  readonly anyOf?: readonly Definition[];
  readonly properties?: object;
  readonly required?: readonly string[];
}
/** The definition that a document meets, behind references and choices. */
function leafOf(definition: Definition, command: string, json: unknown): Definition {
  const { $ref, anyOf } = definition;
  if ($ref !== undefined) return leafOf(schema.$defs[$ref.split('/').at(-1)!], command, json);
  const met = anyOf?.find((one) => ajv.compile({ ...one, $defs: schema.$defs } as AnySchemaObject)(json));
  return anyOf === undefined ? definition : leafOf(met ?? anyOf[0]!, command, json);
}
let told: Awaited<ReturnType<typeof runAll>>;

beforeAll(async () => {
  told = await runAll(cwd);
}, 120_000);

afterAll(() => rmSync(cwd, { recursive: true, force: true }));

test('every command has a definition, and every one that ends is run here', () => {
  const names = COMMANDS.map(({ name }) => name).filter((name) => !NOT_RUN.includes(name));
  expect(names.filter((name) => schema.$defs[nameOf(name)] === undefined)).toEqual([]);
  expect(names.filter((name) => !JSON_RUNS.some(([command]) => command === name))).toEqual([]);
});

test('what each prints is what its definition says', () => {
  for (const [command, json] of told) expect([command, validate(command, json).errors]).toEqual([command, []]);
});

test('a definition names every field at the top, and asks for those that are always there', () => {
  for (const [command, json] of told) {
    const definition = schema.$defs[nameOf(command)];
    const { properties = {}, required = [] } = leafOf(definition, command, json);
    if (Array.isArray(json)) continue;
    expect([command, Object.keys(json as object).filter((key) => !(key in properties))]).toEqual([command, []]);
    const [first] = required;
    if (first === undefined) continue;
    const { [first]: _gone, ...less } = json as Record<string, unknown>;
    expect([command, validate(command, less).valid]).toEqual([command, false]);
  }
});

test('what a command that fails prints is the error', async () => {
  for (const argv of [
    ['prepare', 'none.png', '--json', '--out', 'o'],
    ['chart', 'tones', '--json'],
  ]) {
    const { status, stdout } = await runCli(argv, { cwd });
    expect(status).not.toBe(0);
    expect(validate('error', JSON.parse(stdout)).errors).toEqual([]);
  }
});

test('what open prints is what its definition says', async () => {
  const server = await startPageServer(join(cwd, 'shop'));
  await server.stop();
  expect(validate('open', JSON.parse(server.printed())).errors).toEqual([]);
  expect(validate('open', { url: 'http://127.0.0.1' }).valid).toBe(false);
}, 60_000);
