// What the build takes besides scripts.
declare module "*.css";
