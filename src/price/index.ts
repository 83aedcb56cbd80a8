export { type PriceList, parsePriceList } from './price-list.ts';
export * from './quote.ts';
