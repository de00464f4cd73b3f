// What is checked in the pages' JavaScript: what is likely a mistake. Names that
// browsers bring along are listed, so that a name that nobody defined is found.
const browser = [
  'AbortController', 'Blob', 'CSS', 'Event', 'EventSource', 'File', 'FormData', 'HTMLElement', 'Image', 'KeyboardEvent', 'Node', 'Option', 'ResizeObserver', 'URL',
  'URLSearchParams', 'Uint8Array', 'cancelAnimationFrame', 'clearInterval', 'clearTimeout', 'console', 'createImageBitmap', 'crypto', 'document', 'fetch', 'history',
  'localStorage', 'location', 'matchMedia', 'navigator', 'performance', 'requestAnimationFrame', 'sessionStorage', 'setInterval', 'setTimeout', 'structuredClone', 'window',
  'XMLHttpRequest', 'TextEncoder', 'TextDecoder', 'queueMicrotask',
];

export default [
  {
    files: ['**/*.js'],
    languageOptions: { ecmaVersion: 2023, sourceType: 'module', globals: Object.fromEntries(browser.map((name) => [name, 'readonly'])) },
    linterOptions: { reportUnusedDisableDirectives: 'off' },
    rules: {
      'array-callback-return': 'error', 'constructor-super': 'error', 'default-case-last': 'error', 'eqeqeq': 'error', 'for-direction': 'error', 'getter-return': 'error',
      'no-async-promise-executor': 'error', 'no-caller': 'error', 'no-class-assign': 'error', 'no-compare-neg-zero': 'error', 'no-cond-assign': 'error', 'no-const-assign': 'error',
      'no-constant-binary-expression': 'error', 'no-constant-condition': 'error', 'no-constructor-return': 'error', 'no-debugger': 'error', 'no-dupe-args': 'error',
      'no-dupe-class-members': 'error', 'no-dupe-else-if': 'error', 'no-dupe-keys': 'error', 'no-duplicate-case': 'error', 'no-duplicate-imports': 'error', 'no-empty': 'error',
      'no-eval': 'error', 'no-ex-assign': 'error', 'no-fallthrough': 'error', 'no-func-assign': 'error', 'no-implied-eval': 'error', 'no-import-assign': 'error',
      'no-invalid-regexp': 'error', 'no-irregular-whitespace': ['error', { skipRegExps: true, skipStrings: true, skipTemplates: true }], 'no-loss-of-precision': 'error',
      'no-misleading-character-class': 'error', 'no-new-func': 'error', 'no-new-wrappers': 'error', 'no-obj-calls': 'error', 'no-promise-executor-return': 'off',
      'no-prototype-builtins': 'error', 'no-redeclare': 'error', 'no-return-assign': ['error', 'except-parens'], 'no-script-url': 'error', 'no-self-assign': 'error',
      'no-self-compare': 'error', 'no-setter-return': 'error', 'no-shadow': 'error', 'no-sparse-arrays': 'error', 'no-template-curly-in-string': 'error', 'no-this-before-super': 'error',
      'no-throw-literal': 'error', 'no-undef': 'error', 'no-unexpected-multiline': 'error', 'no-unmodified-loop-condition': 'error', 'no-unreachable': 'error',
      'no-unsafe-finally': 'error', 'no-unsafe-negation': 'error', 'no-unused-expressions': 'error', 'no-unused-labels': 'error',
      'no-unused-vars': ['error', { argsIgnorePattern: '^_', caughtErrors: 'none', ignoreRestSiblings: true }], 'no-use-before-define': ['error', { functions: false, classes: false, variables: false }],
      'no-useless-catch': 'error', 'no-useless-escape': 'error', 'no-var': 'error', 'prefer-const': ['error', { destructuring: 'all' }], 'require-yield': 'error', 'use-isnan': 'error',
      'valid-typeof': 'error',
    },
  },
];
