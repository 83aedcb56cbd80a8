export { type OpenedPage, type PageOptions, startPage } from './server.ts';
