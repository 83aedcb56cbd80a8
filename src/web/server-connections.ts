import type { Server } from 'node:http';
import type { Socket } from 'node:net';

const known = new WeakSet<Socket>();

/** The token came over this connection: it is the page's own. */
export function knowConnection(socket: Socket | undefined): void {
  if (!socket) return;
  known.add(socket);
  socket.emit('tonewright-known');
}

/**
 * Keeps at most so many connections that have not shown the token; a newer one takes the place of the oldest. A program
 * that opens connections and says nothing shuts out others of its kind, never the page: the page shows its token in the
 * first request of a connection.
 */
export function limitStrangers(server: Server, most: number): void {
  const strangers = new Set<Socket>();
  server.on('connection', (socket: Socket) => {
    strangers.add(socket);
    const forget = () => strangers.delete(socket);
    socket.once('close', forget);
    socket.once('tonewright-known', forget);
    if (strangers.size <= most) return;
    const [oldest] = strangers;
    strangers.delete(oldest!);
    oldest!.destroy();
  });
}
