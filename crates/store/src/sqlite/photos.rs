//! The table of photos.

use super::{as_sql, place_of};
use crate::chain::{Follow, Hash};
use crate::{Arrival, Head, Photo, Receipt, StoreFault};
use floorwright_job::photo::{PhotoHash, PhotoKind};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

/// One transaction of its own: a photo is a hundred times as large as an event.
pub(super) fn keep(
    connection: &mut Connection,
    photo: &Photo,
    arrival: Arrival,
) -> Result<Receipt, StoreFault> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let known: Option<u64> = transaction
        .prepare_cached("SELECT place FROM photo WHERE digest = ?1")?
        .query_row([photo.hash().as_bytes()], place_of)
        .optional()?;
    if let Some(place) = known {
        return Ok(Receipt::Known { place });
    }
    let last: Option<(u64, Hash)> = transaction
        .prepare_cached("SELECT place, chain FROM photo ORDER BY place DESC LIMIT 1")?
        .query_row([], |row| Ok((place_of(row)?, row.get(1)?)))
        .optional()?;
    let head = last.map_or(Head::default(), |(count, chain)| Head { count, chain });
    let head = head.next(photo.hash().as_bytes(), arrival);
    transaction
        .prepare_cached(
            "INSERT INTO photo (place, digest, kind, bytes, received, chain) \
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )?
        .execute(params![
            as_sql(head.count),
            photo.hash().as_bytes(),
            photo.kind().media_type(),
            photo.bytes(),
            arrival.0,
            head.chain
        ])?;
    transaction.commit()?;
    Ok(Receipt::Kept { place: head.count })
}

/// A file from before there were photos has no table for them; it may still be read.
fn is_there(connection: &Connection) -> Result<bool, StoreFault> {
    let query = "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'photo'";
    Ok(connection.query_row(query, [], |row| row.get::<_, i64>(0))? > 0)
}

pub(super) fn get(connection: &Connection, hash: PhotoHash) -> Result<Option<Photo>, StoreFault> {
    if !is_there(connection)? {
        return Ok(None);
    }
    let row: Option<(u64, String, Vec<u8>)> = connection
        .prepare_cached("SELECT place, kind, bytes FROM photo WHERE digest = ?1")?
        .query_row([hash.as_bytes()], |row| Ok((place_of(row)?, row.get(1)?, row.get(2)?)))
        .optional()?;
    let Some((place, kind, bytes)) = row else { return Ok(None) };
    let what = "the photo is not as it was written";
    PhotoKind::of_media_type(&kind)
        .and_then(|kind| Photo::kept(*hash.as_bytes(), kind, bytes))
        .map(Some)
        .ok_or(StoreFault::Broken { place, what })
}

/// How many bytes all photos have together: lengths are read, the photos are not.
pub(super) fn total_bytes(connection: &Connection) -> Result<u64, StoreFault> {
    if !is_there(connection)? {
        return Ok(0);
    }
    let query = "SELECT coalesce(sum(length(bytes)), 0) FROM photo";
    Ok(connection.query_row(query, [], |row| row.get::<_, i64>(0))?.unsigned_abs())
}

/// Goes through all photos: each as it was written, none missing between others.
pub(super) fn verify(connection: &Connection) -> Result<(), StoreFault> {
    if !is_there(connection)? {
        return Ok(());
    }
    let mut follow = Follow::new(None);
    let mut query = connection
        .prepare("SELECT place, bytes, digest, received, chain FROM photo ORDER BY place")?;
    let mut rows = query.query([])?;
    while let Some(row) = rows.next()? {
        let bytes = row.get_ref(1)?;
        let bytes = bytes.as_blob().map_err(rusqlite::Error::from)?;
        let (digest, chain): (Hash, Hash) = (row.get(2)?, row.get(4)?);
        follow.step(place_of(row)?, bytes, &digest, Arrival(row.get(3)?), &chain)?;
    }
    follow.end().map(drop)
}
