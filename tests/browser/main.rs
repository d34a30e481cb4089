//! The pages in a real browser: headless Chromium, driven through chromedriver.
//! One file a subject; [`help`] says how to write one.

mod editor;
mod forms;
mod help;
mod journeys;
mod labels;
mod lost;
mod pages;
mod plain_http;
mod sheets;
mod sign_in;
mod together;
mod who;
