//! Ids in an address: one that cannot be read is a page that is not there.

use axum::{
    extract::{FromRequestParts, Path as AxumPath},
    http::request::Parts,
};
use serde::de::DeserializeOwned;

use super::error::Trouble;

/// What an address carries, in place of axum's own, whose refusals are not pages.
#[derive(Debug, Clone, Copy)]
pub struct Path<T>(pub T);

impl<T, S> FromRequestParts<S> for Path<T>
where
    T: DeserializeOwned + Send,
    S: Send + Sync,
{
    type Rejection = Trouble;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Trouble> {
        match AxumPath::<T>::from_request_parts(parts, state).await {
            Ok(AxumPath(value)) => Ok(Self(value)),
            Err(_) => Err(Trouble::not_found("page")),
        }
    }
}
