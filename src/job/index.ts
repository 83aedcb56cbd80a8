export { type Chart, type ChartCost, type ChartRequest, type ChartSpec, makeChart, resolveChart } from './charts.ts';
export { parseChartLayout } from './charts-layout.ts';
export * from './choices.ts';
export * from './proof.ts';
export * from './run.ts';
export * from './spec.ts';
export * from './ticket.ts';
export * from './ticket-page.ts';
