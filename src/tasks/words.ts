// How the figures of records are said in words and numbers, for both faces alike.
export {
  formatMoney,
  listKnown,
  sayExpectedError,
  sayExposure,
  sayHeadroom,
  sayPrediction,
  sayReason,
  saySpacing,
} from '../job/index.ts';
