import { packHead } from './decode-apart.ts';
import { decodePixels, type PixelsRequest } from './pixels.ts';

/** The other side of `decodePixelsApart`: a file's bytes come in, a head and samples go out. */

// A key that interrupts the program reaches this process, too; whether the picture is still wanted is for the program
// to say.
process.on('SIGINT', () => undefined);
// Nobody waits any more. The decoder itself cannot be asked to stop.
process.on('disconnect', () => process.kill(process.pid, 'SIGKILL'));

void answer(JSON.parse(process.argv[2]!) as PixelsRequest);

async function answer(request: PixelsRequest): Promise<void> {
  try {
    const parts: Buffer[] = [];
    for await (const part of process.stdin as AsyncIterable<Buffer>) parts.push(part);
    const { data, ...head } = await decodePixels(Buffer.concat(parts), request);
    await send(packHead(head));
    await send(data);
  } catch (error) {
    await send(packHead({ error: error instanceof Error ? error.message : String(error) }));
  }
  process.exit(0);
}

function send(bytes: Uint8Array): Promise<void> {
  return new Promise((done, fail) => process.stdout.write(bytes, (error) => (error ? fail(error) : done())));
}
